"""Imports: which file brought which rows, who imported it and who accepted it."""

from django.conf import settings
from django.db import models


class ImportBatch(models.Model):
    """One loaded file."""

    kind = models.CharField(max_length=16)
    file_name = models.CharField(max_length=200)
    sha256 = models.CharField(max_length=64)
    rows_added = models.PositiveIntegerField()
    imported_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    accepted_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    imported_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-imported_at"]
        verbose_name_plural = "import batches"

    def __str__(self) -> str:
        return f"{self.file_name} ({self.kind}, {self.rows_added} rows)"
