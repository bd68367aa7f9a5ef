"""Send everybody the mail of what is new, by cron. What a person was told is not told again."""

import datetime as dt
import logging
from argparse import ArgumentParser
from typing import Any
from urllib.parse import urlsplit

from django.core.mail import EmailMessage
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from checks.models import NoticeChoice
from checks.selectors.notices import Fact, all_facts
from checks.services.notices import READ, chosen, forget_told, telling, untold
from fleet.models import Operator
from reports.digest import digest

KEEP_DAYS = 800
log = logging.getLogger(__name__)


class Command(BaseCommand):
    help = "Send each person one mail with what is new of what the person chose (see the Notices page)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--address", default="", help="of the site, for links: https://checks.example")

    def handle(self, *_args: Any, **options: Any) -> None:
        address = _address(options["address"])
        now = timezone.now()
        facts, operator = all_facts(now, timezone.localdate(now)), Operator.current()
        sent = failed = 0
        for choice in NoticeChoice.objects.select_related("person").order_by("person"):
            outcome = self._tell(choice, facts, operator, address)
            sent, failed = sent + (outcome is True), failed + (outcome is False)
        forget_told(before=now - dt.timedelta(days=KEEP_DAYS))
        self.stdout.write(f"{sent} sent, {failed} failed.")
        if failed:
            raise CommandError(f"{failed} could not be sent; what they tell is told again next time.")

    def _tell(self, choice: NoticeChoice, facts: list[Fact], operator: Operator, address: str) -> bool | None:
        """True: sent; False: failed; None: nothing to tell, or nobody to tell it."""
        person = choice.person
        wanted = chosen(choice, facts)
        if not person.email or not person.has_perm(READ) or not untold(person, wanted):
            return None
        try:
            with telling(person, wanted) as mine:
                if not mine:
                    return None
                mail = digest(person, mine, operator, address)
                EmailMessage(mail.subject, mail.text, to=[person.email]).send()
        except Exception as error:  # whatever a mail server does, the others are still told
            log.error("notices of person %s could not be sent: %s", person.pk, type(error).__name__)
            return False
        return True


def _address(text: str) -> str:
    """The address without a slash at its end. CommandError where it is none."""
    if not text:
        return ""
    parts = urlsplit(text)
    if parts.scheme not in ("http", "https") or not parts.netloc or parts.query or parts.fragment:
        raise CommandError(f"--address takes something like https://checks.example, not {text!r}.")
    return text.rstrip("/")
