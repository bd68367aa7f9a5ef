"""Photos of the work and scans of paper originals, kept with a draft and frozen with it when it is signed."""

from django.conf import settings
from django.db import models
from django.db.models import Q


class Photo(models.Model):
    """One file kept with a check, on one step or on the whole of it. Added or removed, never changed.

    The digest is part of the signed record; the file itself lies in the media folder under `stored`.
    """

    class Kind(models.TextChoices):
        PHOTO = "photo", "photo"
        PAPER = "paper original", "scan of a paper original"

    event = models.ForeignKey("checks.CheckEvent", models.CASCADE, related_name="photos")
    step = models.ForeignKey(
        "checks.Step",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        help_text="None: of the whole check.",
    )
    kind = models.CharField(max_length=14, choices=Kind, default=Kind.PHOTO)
    remark = models.CharField(max_length=200, blank=True)
    stored = models.CharField(max_length=80, help_text="Name of the file below the media folder.")
    media_type = models.CharField(max_length=20)
    size = models.PositiveIntegerField(help_text="Bytes as stored.")
    width = models.PositiveIntegerField(null=True, blank=True, help_text="Of a picture, in pixels.")
    height = models.PositiveIntegerField(null=True, blank=True)
    sha256 = models.CharField(max_length=64, help_text="Of the file as stored.")
    taken = models.CharField(
        max_length=32, blank=True, help_text="By the camera's own clock, with its zone where it wrote one."
    )
    added_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    added_at = models.DateTimeField()

    class Meta:
        ordering = ["event", "pk"]
        verbose_name = "photo or paper original"
        verbose_name_plural = "photos and paper originals"
        constraints = [
            models.UniqueConstraint(fields=["event", "step", "sha256"], name="photo_once_on_a_step"),
            models.UniqueConstraint(
                fields=["event", "sha256"], condition=Q(step=None), name="photo_once_on_the_whole"
            ),
        ]

    def __str__(self) -> str:
        return self.remark or self.get_kind_display()

    @property
    def is_picture(self) -> bool:
        return self.media_type.startswith("image/")
