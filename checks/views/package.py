"""One work package: its checks held against the due list, and what a controller does with it."""

from collections.abc import Callable

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from checks.forms.packages import MoveForm
from checks.models import WorkPackage
from checks.selectors.packages import drafts_of, packages, shown
from checks.services import packages as service
from checks.services.errors import RecordError
from checks.services.plan_runs import PLAN
from checks.views.access import needs


@require_safe
@needs("checks.view_records")
def package(request: HttpRequest, pk: int) -> HttpResponse:
    """A package with its checks, what they share and what was done with it."""
    return page(request, pk)


def page(request: HttpRequest, pk: int, form: MoveForm | None = None, status: int = 200) -> HttpResponse:
    found = packages().filter(pk=pk).first()
    if found is None:
        return render(request, "checks/package_gone.html", status=404)
    (one,) = shown([found], timezone.localdate(timezone=found.base.zone))
    context = {
        "shown": one,
        "package": found,
        "drafts": drafts_of(found),
        "changes": found.changes.select_related("by"),
        "form": form or MoveForm(found),
        "may": request.user.has_perm(PLAN) and found.state != WorkPackage.State.WITHDRAWN,
    }
    return render(request, "checks/package.html", context, status=status)


@require_POST
@needs(PLAN)
def package_change(request: HttpRequest, pk: int) -> HttpResponse:
    """do=accept, pin, unpin, lock, unlock, withdraw, out (with check=) or move (with on= and base=)."""
    found = WorkPackage.objects.filter(pk=pk).select_related("aircraft", "base").first()
    if found is None:
        messages.error(request, service.GONE)
        return redirect("checks:packages")
    do = request.POST.get("do", "")
    if do == "move":
        return move(request, found)
    act = ACTS.get(do)
    if act is None:
        messages.error(request, "Nothing was asked of this package. Use one of its buttons.")
        return redirect("checks:package", pk=pk)
    try:
        after = act(request, found)
    except RecordError as refused:
        messages.error(request, str(refused))
        return redirect("checks:package", pk=pk)
    messages.success(request, WORDS[do])
    return redirect("checks:package", pk=after.pk) if after else redirect("checks:packages")


def move(request: HttpRequest, found: WorkPackage) -> HttpResponse:
    form = MoveForm(found, request.POST)
    if form.is_valid():
        try:
            service.move_package(package=found, by=request.user, **form.cleaned_data)
        except RecordError as refused:
            form.add_error(None, refused)
        else:
            messages.success(request, f"Moved to {form.cleaned_data['on']:%d %b %Y}, where it stays.")
            return redirect("checks:package", pk=found.pk)
    return page(request, found.pk, form, status=422)


def take_out(request: HttpRequest, found: WorkPackage) -> WorkPackage:
    key = request.POST.get("check", "")
    check = get_object_or_404(found.checks.all(), pk=int(key) if key.isdecimal() else 0)
    return service.take_out(package=found, check=check, by=request.user)


Act = Callable[[HttpRequest, WorkPackage], WorkPackage | None]
ACTS: dict[str, Act] = {
    "accept": lambda r, p: service.accept_package(package=p, by=r.user),
    "pin": lambda r, p: service.pin_package(package=p, by=r.user, pinned=True),
    "unpin": lambda r, p: service.pin_package(package=p, by=r.user, pinned=False),
    "lock": lambda r, p: service.lock_package(package=p, by=r.user, locked=True),
    "unlock": lambda r, p: service.lock_package(package=p, by=r.user, locked=False),
    "withdraw": lambda r, p: service.withdraw_package(package=p, by=r.user),
    "out": take_out,
}
WORDS = {
    "accept": "Accepted. It stays put in the next plan.",
    "pin": "Pinned: the next plan keeps it on this day, and may add checks.",
    "unpin": "Let go: the next plan may put it elsewhere.",
    "lock": "Locked: it takes no move and no further check.",
    "unlock": "Unlocked.",
    "withdraw": "Withdrawn. Its checks stand in the due list as before.",
    "out": "Taken out. The check stands in the due list as before.",
}
