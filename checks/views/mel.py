"""The operator's MEL: the items, one of them, typing and approving."""

from django.contrib import messages
from django.db.models import Count
from django.forms import model_to_dict
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from checks.forms.check_sign import PasswordForm
from checks.forms.mel import MelItemForm
from checks.models import MelItem
from checks.services.errors import RecordError
from checks.services.mel import approve_item, change_item, type_item
from checks.views.access import needs
from checks.views.defects import METHODS, show_refusal


@require_safe
@needs("checks.view_records")
def mel(request: HttpRequest) -> HttpResponse:
    """The items that wait for approval and those in force. Two queries."""
    used = MelItem.objects.select_related("variant", "typed_by", "approved_by")
    context = {
        "waiting": used.filter(approved_at=None),
        "items": used.in_force().annotate(uses=Count("deferrals")),
    }
    return render(request, "checks/mel.html", context)


@require_safe
@needs("checks.view_records")
def mel_item(request: HttpRequest, pk: int) -> HttpResponse:
    """One item with everything that it states, and what took its place."""
    return render(request, "checks/mel_item.html", {"item": item_of(pk)})


def item_of(pk: int) -> MelItem:
    related = ("variant", "typed_by", "approved_by", "replaces", "replaced_by")
    return get_object_or_404(MelItem.objects.select_related(*related), pk=pk)


@require_http_methods(METHODS)
@needs("checks.add_melitem")
def mel_type(request: HttpRequest) -> HttpResponse:
    """Type an item; ?replaces= starts from the one in force whose place it is to take."""
    key = request.GET.get("replaces", "")
    earlier = MelItem.objects.in_force().filter(pk=key).first() if key.isdecimal() else None
    start = model_to_dict(earlier, MelItemForm.Meta.fields) if earlier else {}
    form = MelItemForm(request.POST or None, initial=start)
    if request.method == "POST" and form.is_valid():
        try:
            item = type_item(by=request.user, replaces=earlier, **form.cleaned_data)
        except RecordError as refused:
            show_refusal(form, refused)
        else:
            return kept(request, item)
    return typing(request, form, earlier)


@require_http_methods(METHODS)
@needs("checks.change_melitem")
def mel_change(request: HttpRequest, pk: int) -> HttpResponse:
    """Change an item that waits for approval."""
    item = item_of(pk)
    if item.approved_at:
        messages.info(request, "It is approved, and is not edited any more. Type a revised item.")
        return redirect("checks:mel_item", pk=item.pk)
    start = model_to_dict(item, MelItemForm.Meta.fields)
    form = MelItemForm(request.POST or None, initial=start)
    if request.method == "POST" and form.is_valid():
        try:
            item = change_item(item=item, by=request.user, **form.cleaned_data)
        except RecordError as refused:
            show_refusal(form, refused)
        else:
            return kept(request, item)
    return typing(request, form, item.replaces)


def kept(request: HttpRequest, item: MelItem) -> HttpResponse:
    messages.success(request, "Kept. It serves once another person has approved it.")
    return redirect("checks:mel_item", pk=item.pk)


def typing(request: HttpRequest, form: MelItemForm, earlier: MelItem | None) -> HttpResponse:
    status = 422 if request.method == "POST" else 200
    return render(request, "checks/mel_type.html", {"form": form, "earlier": earlier}, status=status)


@require_http_methods(METHODS)
@needs("checks.approve_melitem")
def mel_approve(request: HttpRequest, pk: int) -> HttpResponse:
    """Approve an item that another person typed."""
    item = item_of(pk)
    if item.approved_at:
        messages.info(request, "It is approved already.")
        return redirect("checks:mel_item", pk=item.pk)
    form = PasswordForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            approve_item(item=item, by=request.user, **form.cleaned_data)
        except RecordError as refused:
            show_refusal(form, refused)
        else:
            messages.success(request, "Approved. It serves from now on.")
            return redirect("checks:mel_item", pk=item.pk)
    status = 422 if request.method == "POST" else 200
    return render(request, "checks/mel_approve.html", {"item": item, "form": form}, status=status)
