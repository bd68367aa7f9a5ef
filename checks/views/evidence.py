"""Photos of a check and scans of its paper originals: the page that adds them, and the files themselves."""

import uuid as uuids
from typing import Any

from django.contrib import messages
from django.db.models import F
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from checks.forms.evidence import PhotoForm
from checks.models import CheckEvent, Photo
from checks.services import photo_files
from checks.services.errors import RecordError
from checks.services.evidence import add_photo, remove_photo
from checks.services.picture import JPEG, small
from checks.views.access import needs

OTHER_PERSON = "Another person is signed in on this phone now. Nothing was sent."


def evidence_part(event: CheckEvent, form: PhotoForm | None = None) -> dict[str, Any]:
    """What the pages of a check show of its photos; of a draft with the form that adds one. Two queries."""
    by_step = F("step__number").asc(nulls_first=True)
    photos = event.photos.select_related("step", "added_by").order_by(by_step, "pk")
    return {"photos": list(photos), "photo_form": form or (PhotoForm(event) if event.is_draft else None)}


@require_http_methods(["GET", "HEAD", "POST"])
def evidence(request: HttpRequest, uuid: uuids.UUID) -> HttpResponse:
    """The photos of one check; a post adds one, or takes one away while the check is a draft."""
    return keep(request, uuid) if request.method == "POST" else opened(request, uuid)


@needs("checks.view_records")
def opened(request: HttpRequest, uuid: uuids.UUID) -> HttpResponse:
    return page(request, _event(uuid))


@needs("checks.record_check")
def keep(request: HttpRequest, uuid: uuids.UUID) -> HttpResponse:
    event = _event(uuid)
    if request.POST.get("do") == "remove":
        return remove(request, event)
    if request.POST.get("person", str(request.user.pk)) != str(request.user.pk):
        # A phone that another person used before: their photos wait until they sign in again.
        return JsonResponse({"state": "other person", "words": OTHER_PERSON}, status=403)
    form = PhotoForm(event, request.POST, request.FILES)
    if form.is_valid():
        given = dict(form.cleaned_data)
        content = given.pop("file").read()
        try:
            add_photo(event=event, by=request.user, content=content, **given)
        except RecordError as refused:
            form.add_error(None, refused)
        else:
            return _kept(request, event)
    if _asks_json(request):
        words = " ".join(error for errors in form.errors.values() for error in errors)
        return JsonResponse({"state": "refused", "words": words}, status=422)
    return page(request, event, form, status=422)


def remove(request: HttpRequest, event: CheckEvent) -> HttpResponse:
    """Take one away; one that is gone already is no mistake."""
    key = request.POST.get("photo", "")
    photo = event.photos.filter(pk=int(key)).first() if key.isascii() and key.isdecimal() else None
    try:
        if photo:
            remove_photo(photo=photo, by=request.user)
            messages.success(request, "Taken away. Nothing of it is on record.")
    except RecordError as refused:
        messages.error(request, str(refused))
    return redirect("checks:evidence", uuid=event.pk)


def page(
    request: HttpRequest, event: CheckEvent, form: PhotoForm | None = None, status: int = 200
) -> HttpResponse:
    context = {"event": event, **evidence_part(event, form)}
    step = request.GET.get("step", "")
    if context["photo_form"] and not form and step.isdecimal():
        context["photo_form"].initial["step"] = int(step)
    return render(request, "checks/evidence.html", context, status=status)


@require_safe
@needs("checks.view_records")
def evidence_file(request: HttpRequest, uuid: uuids.UUID, pk: int) -> HttpResponse:
    """The file as it is kept: a picture to look at, a PDF as a download."""
    photo, content = _photo(uuid, pk)
    if photo.is_picture:
        return _safe(content, JPEG, f'inline; filename="photo-{pk}.jpg"')
    return _safe(content, photo.media_type, f'attachment; filename="paper-original-{pk}.pdf"')


@require_safe
@needs("checks.view_records")
def evidence_small(request: HttpRequest, uuid: uuids.UUID, pk: int) -> HttpResponse:
    """The picture made small, for a page on one bar of wifi."""
    photo, content = _photo(uuid, pk)
    if not photo.is_picture:
        raise Http404("A PDF has no small picture.")
    return _safe(small(content), JPEG, f'inline; filename="photo-{pk}-small.jpg"')


def _event(uuid: uuids.UUID) -> CheckEvent:
    related = ("aircraft__variant", "revision__procedure", "base", "started_by")
    return get_object_or_404(CheckEvent.objects.select_related(*related), pk=uuid)


def _photo(uuid: uuids.UUID, pk: int) -> tuple[Photo, bytes]:
    """The photo and its file, which is handed out only where it is the one that was kept."""
    photo = get_object_or_404(Photo, pk=pk, event=uuid)
    content = photo_files.read(photo)
    fault = photo_files.fault(photo, content)
    if fault:
        raise Http404(f"This photo can't be shown: {fault}. Ask whoever looks after the media folder.")
    return photo, content


def _safe(content: bytes, media_type: str, disposition: str) -> HttpResponse:
    """The file comes from outside: even opened in a window of its own it may run nothing."""
    headers = {
        "Content-Disposition": disposition,
        "X-Content-Type-Options": "nosniff",
        "Content-Security-Policy": "default-src 'none'; sandbox",
        "Cross-Origin-Resource-Policy": "same-origin",
    }
    return HttpResponse(content, content_type=media_type, headers=headers)


def _asks_json(request: HttpRequest) -> bool:
    return request.headers.get("Accept", "").startswith("application/json")


def _kept(request: HttpRequest, event: CheckEvent) -> HttpResponse:
    if _asks_json(request):
        return JsonResponse({"state": "kept"})
    messages.success(request, "Kept with this check.")
    back = "checks:check" if request.POST.get("back") == "check" else "checks:evidence"
    return redirect(reverse(back, args=[event.pk]) + "#photos")
