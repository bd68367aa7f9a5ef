"""How busy the calendar months are in this fleet: learnt from utilisation, never part of the records."""

from django.db import models


class UseSeason(models.Model):
    """The newest pattern of one kind of use, made anew every night. No row: too little is entered to tell."""

    class Kind(models.TextChoices):
        HOURS = "hours", "flight hours"
        LANDINGS = "landings", "landings"

    kind = models.CharField(max_length=8, choices=Kind, primary_key=True)
    months = models.JSONField(help_text="Use of January to December in thousandths of the mean of the year.")
    years = models.PositiveSmallIntegerField()
    aircraft = models.PositiveIntegerField()
    kept = models.FloatField(help_text="Share of the pattern that was not taken for chance, 0 to 1.")
    learned_at = models.DateTimeField()

    class Meta:
        ordering = ["kind"]

    def __str__(self) -> str:
        return f"season of {self.get_kind_display()} from {self.years} years"
