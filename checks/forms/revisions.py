"""Filter of the list of procedures."""

import django_filters
from django import forms
from django.db.models import QuerySet

from checks.models import Procedure
from checks.selectors.revisions import STATES
from fleet.models import Variant


class ProcedureFilter(django_filters.FilterSet):
    """Procedures by words of their title, variant, and whether a revision of theirs is in a state.

    `revisions` come with_states of a day, on which the state depends.
    """

    words = django_filters.CharFilter(
        field_name="title",
        lookup_expr="icontains",
        label="Title",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    variant = django_filters.ModelChoiceFilter(queryset=Variant.objects.all(), empty_label="every variant")
    state = django_filters.ChoiceFilter(
        choices=[(state, state) for state in STATES],
        method="with_revision",
        label="Has a revision",
        empty_label="in any state",
    )

    class Meta:
        model = Procedure
        fields: list[str] = []

    def __init__(self, *args: object, revisions: QuerySet, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)
        self.revisions = revisions

    def with_revision(self, queryset: QuerySet, name: str, value: str) -> QuerySet:
        return queryset.filter(pk__in=self.revisions.filter(now_is=value).values("procedure"))
