"""A person's own notices: what comes by mail, and private calendar addresses of the bases."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from checks.forms.notices import FeedForm, NoticeForm
from checks.models import CalendarFeed, NoticeChoice
from checks.services.errors import RecordError
from checks.services.notices import KINDS, READ, choose_notices, make_feed, revoke_feed
from checks.views.access import needs


@require_http_methods(["GET", "HEAD", "POST"])
@needs(READ)
def notices(request: HttpRequest) -> HttpResponse:
    """What is told by mail (do=choose), and the calendar addresses (do=feed makes one)."""
    if request.method == "POST" and request.POST.get("do") == "feed":
        return new_feed(request)
    form = NoticeForm(request.POST or None, instance=own_choice(request))
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        kinds = [name for name in KINDS if given[name]]
        choose_notices(person=request.user, kinds=kinds, bases=given["bases"], every_base=not given["bases"])
        messages.success(request, "Kept. What you were told already is not told again.")
        return redirect("checks:notices")
    return page(request, form=form, status=422 if request.method == "POST" and form.errors else 200)


def own_choice(request: HttpRequest) -> NoticeChoice | None:
    return NoticeChoice.objects.filter(person=request.user).first()


def new_feed(request: HttpRequest) -> HttpResponse:
    """The address is shown in the answer itself, this once: it is kept nowhere, so nothing redirects."""
    form = FeedForm(request.POST)
    if not form.is_valid():
        return page(request, feed_form=form, status=422)
    try:
        feed, secret = make_feed(owner=request.user, **form.cleaned_data)
    except RecordError as refused:
        form.add_error(None, str(refused))
        return page(request, feed_form=form, status=422)
    path = reverse("reports:calendar", args=[feed.base.code], query={"key": secret})
    return page(request, made=feed, address=request.build_absolute_uri(path))


def page(
    request: HttpRequest,
    *,
    form: NoticeForm | None = None,
    feed_form: FeedForm | None = None,
    made: CalendarFeed | None = None,
    address: str = "",
    status: int = 200,
) -> HttpResponse:
    context = {
        "form": form or NoticeForm(instance=own_choice(request)),
        "feed_form": feed_form or FeedForm(),
        "feeds": CalendarFeed.objects.filter(owner=request.user, revoked_at=None).select_related("base"),
        "made": made,
        "address": address,
    }
    return render(request, "checks/notices.html", context, status=status)


@require_POST
@needs(READ)
def feed_revoke(request: HttpRequest, pk: int) -> HttpResponse:
    """Close one of the person's own addresses."""
    feed = get_object_or_404(CalendarFeed, pk=pk)
    try:
        revoke_feed(feed=feed, by=request.user)
    except RecordError as refused:
        messages.error(request, str(refused))
    else:
        messages.success(request, "Revoked: the address answers nobody any more.")
    return redirect("checks:notices")
