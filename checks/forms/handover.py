"""Who is to carry a check on, and work begun for somebody else."""

import uuid
from typing import Any

from django import forms
from django.utils import timezone

from checks.models import Procedure, Revision
from checks.selectors.handover import technicians
from fleet.models import Aircraft, User

NOTE = "What the other person should know that stands in no step."


class HandOverForm(forms.Form):
    """To whom, with a note."""

    to = forms.ModelChoiceField(
        User.objects.none(),
        label="Hand over to",
        empty_label="choose a person",
        error_messages={"required": "Choose who carries it on."},
    )
    note = forms.CharField(label="Note", max_length=400, required=False, help_text=NOTE)

    def __init__(self, person: User, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)
        home = person.home_base_id
        known = technicians().exclude(pk=person.pk).select_related("home_base")
        self.fields["to"].queryset = known
        self.fields["to"].label_from_instance = lambda one: (
            f"{one}, {one.home_base}" if one.home_base_id and one.home_base_id != home else str(one)
        )


class FindAircraft(forms.Form):
    """On which aircraft the work is to be done."""

    aircraft = forms.ModelChoiceField(
        Aircraft.objects.exclude(state=Aircraft.State.LEFT),
        to_field_name="registration",
        empty_label="choose",
        error_messages={"invalid_choice": "No aircraft of the fleet has this registration. Choose one."},
    )


class AssignForm(HandOverForm):
    """A task of one aircraft for somebody to carry out. uuid: so that two taps begin one draft."""

    uuid = forms.UUIDField(widget=forms.HiddenInput)
    procedure = forms.ModelChoiceField(
        Procedure.objects.none(),
        label="Task",
        empty_label="choose",
        error_messages={"required": "Choose the task."},
    )
    work_date = forms.DateField(
        label="Date of work", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    field_order = ["uuid", "procedure", "work_date", "to", "note"]

    def __init__(self, aircraft: Aircraft, person: User, data: Any = None, procedure: str = "") -> None:
        today = timezone.localdate(timezone=aircraft.base.zone)
        first = {"uuid": uuid.uuid4(), "work_date": today, "procedure": procedure}
        super().__init__(person, data, initial=first)
        self.fields["to"].label = "To be carried out by"
        in_force = Revision.objects.in_force(today).filter(procedure__variant=aircraft.variant_id)
        self.fields["procedure"].queryset = Procedure.objects.filter(pk__in=in_force.values("procedure"))
        self.fields["procedure"].label_from_instance = lambda one: one.title
