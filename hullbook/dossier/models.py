"""Issued dossiers: the bytes are stored once and handed out ever after."""

from typing import ClassVar

from django.db import models
from django.db.models import Q

from hullbook.hulls.models import Hull
from hullbook.materials.models import StoredFile
from hullbook.records.models import TypedRow


class DossierIssue(TypedRow):
    hull = models.ForeignKey(Hull, on_delete=models.PROTECT, related_name="dossier_issues")
    number = models.PositiveSmallIntegerField()
    upto_entry = models.BigIntegerField()
    as_it_stands = models.BooleanField(help_text="Not for acceptance: something is missing.")
    missing_count = models.PositiveSmallIntegerField()
    file = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="+")

    class Meta(TypedRow.Meta):
        constraints: ClassVar = [
            *TypedRow.Meta.constraints,
            models.UniqueConstraint(fields=["hull", "number"], name="dossierissue_number_once_a_hull"),
            models.CheckConstraint(
                condition=Q(as_it_stands=True) | Q(missing_count=0), name="dossierissue_whole_only_if_nothing_missing"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.hull.number} dossier issue {self.number}"
