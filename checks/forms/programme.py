"""Forms of the programme: its filter, the terms of a task, the owner of a due point."""

from collections.abc import Iterator

import django_filters
from django import forms
from django.db.models import QuerySet

from checks.models import DuePoint, IntervalRevision, Procedure, RecurringCheck
from checks.selectors.programme import STATES
from fleet.models import Aircraft, User, Variant

DAY = {"type": "date"}
DECIMAL = {"inputmode": "decimal", "autocomplete": "off"}
WHOLE = {"inputmode": "numeric", "autocomplete": "off"}
# The parts of the form: heading, and the fields under it.
PARTS = (
    ("The task", ("title", "reference", "active", "once", "work_hours")),
    (
        "Interval: whichever occurs first",
        (
            "interval_days",
            "interval_months",
            "to_month_end",
            "interval_hours",
            "interval_landings",
            "before_season",
            "season_window_days",
        ),
    ),
    ("Tolerance and counting", ("tolerance_days", "tolerance_hours", "tolerance_landings", "counting")),
    ("First due", ("first_due", "first_on", "first_hours", "first_landings", "counts_from")),
    ("Aircraft", ("only_on", "modification", "fit")),
    ("Why", ("reason",)),
)


class ProgrammeFilter(django_filters.FilterSet):
    """Tasks of programme.with_states by words of their title, variant and state."""

    words = django_filters.CharFilter(
        field_name="title",
        lookup_expr="icontains",
        label="Task",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    variant = django_filters.ModelChoiceFilter(
        field_name="procedure__variant",
        queryset=Variant.objects.all(),
        label="Variant",
        empty_label="every variant",
    )
    state = django_filters.ChoiceFilter(
        field_name="now_is",
        choices=[(state, state) for state in STATES],
        label="State",
        empty_label="every state",
    )

    class Meta:
        model = RecurringCheck
        fields: list[str] = []


class ChooseProcedureForm(forms.Form):
    """Which procedure a new task follows."""

    procedure = forms.ModelChoiceField(
        queryset=Procedure.objects.select_related("variant").order_by("title", "variant__name"),
        empty_label="choose",
        error_messages={"invalid_choice": "There is no such procedure. Choose one of the list."},
    )


class TermsForm(forms.ModelForm):
    """The terms of a task as one person types them. The service keeps them until another approves."""

    class Meta:
        model = IntervalRevision
        fields = [name for _, names in PARTS for name in names]
        labels = {
            "interval_days": "Days",
            "interval_months": "Months",
            "interval_hours": "Flight hours",
            "interval_landings": "Landings",
            "before_season": "By the base’s season date",
            "season_window_days": "Counts for the season when done within days before it",
            "tolerance_days": "Tolerance in days",
            "tolerance_hours": "Tolerance in hours",
            "tolerance_landings": "Tolerance in landings",
            "counting": "Way of counting the next due point",
            "first_due": "First due",
            "only_on": "Only on these aircraft",
            "work_hours": "Hours of work",
        }
        help_texts = {
            "before_season": "",
            "tolerance_days": "For days and months. No plan counts on a tolerance.",
            "once": "Due at its first due point only. Give its reference and when it is first due.",
            "work_hours": "",
        }
        widgets = {
            **{name: forms.TextInput(attrs=WHOLE) for name in ("interval_days", "interval_months")},
            **{name: forms.TextInput(attrs=WHOLE) for name in ("interval_landings", "season_window_days")},
            **{name: forms.TextInput(attrs=WHOLE) for name in ("tolerance_days", "tolerance_landings")},
            **{name: forms.TextInput(attrs=DECIMAL) for name in ("interval_hours", "tolerance_hours")},
            **{name: forms.TextInput(attrs=DECIMAL) for name in ("first_hours", "work_hours")},
            **{name: forms.DateInput(attrs=DAY, format="%Y-%m-%d") for name in ("first_on", "counts_from")},
            "first_landings": forms.TextInput(attrs=WHOLE),
            "counting": forms.RadioSelect,
            "first_due": forms.RadioSelect,
            "only_on": forms.CheckboxSelectMultiple,
            "reason": forms.Textarea(attrs={"rows": 3}),
        }

    def __init__(self, *args: object, procedure: Procedure, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)
        flying = Aircraft.objects.filter(variant=procedure.variant_id).exclude(state=Aircraft.State.LEFT)
        self.fields["only_on"].queryset = flying
        self.fields["title"].widget.attrs["placeholder"] = procedure.title
        self.fields["fit"].choices = [("", "whether or not"), *IntervalRevision.Fit.choices]
        self.fields["modification"].empty_label = "none"

    def parts(self) -> Iterator[tuple[str, list[forms.BoundField]]]:
        """Headings with their fields, as the page shows them."""
        for heading, names in PARTS:
            yield heading, [self[name] for name in names]

    def given(self) -> dict[str, object]:
        """What the service takes: terms, only_on, reason."""
        terms = dict(self.cleaned_data)
        return {"only_on": terms.pop("only_on"), "reason": terms.pop("reason"), "terms": terms}


class OwnerForm(forms.ModelForm):
    """Who sees to a due point, and remarks."""

    class Meta:
        model = DuePoint
        fields = ["owner", "remarks"]
        widgets = {"remarks": forms.Textarea(attrs={"rows": 2})}
        help_texts = {"remarks": "Parts waited for, slot agreed, who was told."}

    def __init__(self, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)
        people: QuerySet[User] = User.objects.filter(is_active=True, groups__isnull=False).distinct()
        self.fields["owner"].queryset = people.order_by("last_name", "username")
        self.fields["owner"].empty_label = "nobody"
