"""The totals of one day from a file: the utilisation sheet, as another program writes it."""

from django import forms
from django.core.validators import FileExtensionValidator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from checks.views.access import needs
from fleet.models import Operator, User
from reports.loading.load import Loaded, Source, load
from reports.loading.utilisation import Day
from reports.tables.sheet import SheetError

LARGEST = 2 * 1024 * 1024


class FileForm(forms.Form):
    """A CSV file and the day at whose end its totals hold."""

    on = forms.DateField(
        label="Totals at the end of",
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={"required": "Give the day at whose end the totals hold."},
    )
    file = forms.FileField(
        label="CSV file",
        validators=[FileExtensionValidator(["csv", "txt"])],
        help_text="Columns registration, hours and landings; 'hours [h, decimal comma]' where it has one.",
        widget=forms.FileInput(attrs={"accept": ".csv,text/csv"}),
    )
    sure = forms.BooleanField(required=False, label="Odd figures are right as written")

    def clean_file(self) -> object:
        file = self.cleaned_data["file"]
        if file.size > LARGEST:
            raise forms.ValidationError(f"Larger than {LARGEST // 2**20} MiB. Split it.")
        return file


@require_http_methods(["GET", "HEAD", "POST"])
@needs("fleet.add_utilisationentry")
def utilisation_file(request: HttpRequest) -> HttpResponse:
    """Rows that are right are entered; the others are named by line and field. Sent again, mended or not,
    the file enters only what is not on file yet."""
    form = FileForm(request.POST or None, request.FILES or None, initial={"on": timezone.localdate()})
    came = None
    if request.method == "POST" and form.is_valid():
        try:
            came = _entered(form.cleaned_data, request.user)
        except SheetError as error:
            form.add_error("file", f"{error} Nothing was entered.")
    bad = len({problem.line for problem in came.tally.problems}) if came else 0
    status = 422 if request.method == "POST" and (came is None or bad) else 200
    context = {"form": form, "came": came, "bad": bad}
    return render(request, "reports/utilisation_file.html", context, status=status)


def _entered(given: dict, by: User) -> Loaded:
    file = given["file"]
    return load(
        kind="utilisation",
        source=Source(file.name, file.read(), by, by),
        named={},
        commit=True,
        good_rows_only=True,
        day=Day(given["on"], given["sure"], Operator.current().stale_use_days),
    )
