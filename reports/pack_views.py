"""Audit packs: choosing, the hash to tell apart, and the file."""

import json
from typing import Any

from django.contrib import messages
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from checks.models import Record
from checks.services.chain import OPERATOR
from checks.services.packs import ACT, TAKE
from checks.views.access import needs
from reports.pack_form import PackForm
from reports.pack_making import make_pack, packs_folder

SHOWN = 20


@require_http_methods(["GET", "HEAD", "POST"])
@needs(TAKE)
def audit_packs(request: HttpRequest) -> HttpResponse:
    """Make a pack, and those made lately with the hashes to tell apart from them."""
    form = PackForm(request.POST or None, initial={"aircraft": request.GET.get("aircraft", "")})
    if request.method == "POST" and form.is_valid():
        made = make_pack(aircraft=form.cleaned_data["aircraft"], span=form.span, by=request.user)
        words = (
            f"Made. The manifest's hash is {made.seal}: tell it to the receiver by another way than the pack."
        )
        messages.success(request, words)
        for fault in made.faults[:5]:
            messages.error(request, f"What is stored is not what was signed: {fault}")
        return redirect("reports:audit_packs")
    context = {"form": form, "packs": [told(record) for record in _made()[:SHOWN]]}
    status = 422 if request.method == "POST" else 200
    return render(request, "reports/audit_packs.html", context, status=status)


@require_safe
@needs(TAKE)
def audit_pack_file(request: HttpRequest, number: int) -> FileResponse:
    """The pack of one link of the operator's chain. 404 where its file was cleared away."""
    pack = told(get_object_or_404(_made(), number=number))
    try:
        file = (packs_folder() / f"{pack['manifest']}.zip").open("rb")
    except FileNotFoundError:
        raise Http404("This pack is no longer kept here. Make it anew; it will have another hash.") from None
    name = f"audit-pack-{pack['registration']}-{number:05d}.zip"
    return FileResponse(file, as_attachment=True, filename=name, content_type="application/zip")


def told(record: Record) -> dict[str, Any]:
    """What the link of a pack says, with its number and whether the file is still here. No query."""
    pack = json.loads(record.canonical)["pack"]
    kept = (packs_folder() / f"{pack['manifest']}.zip").exists()
    return pack | {"number": record.number, "made_at": record.written_at, "kept": kept}


def _made() -> Any:
    return Record.objects.filter(chain__owner=OPERATOR, act=ACT).order_by("-number")
