"""Reading what was tried, weighed and found, and what follows from it."""

from hullbook.inspection.selectors.findings import (
    FindingView,
    climate_of,
    decision_about,
    decisions_about,
    finding_about,
    findings_of,
    gone_entries,
    judgement_words,
    open_findings,
)
from hullbook.inspection.selectors.hardness import (
    HARDNESS_MEAN,
    HardnessView,
    RequiredHardness,
    hardness_result,
    hardness_sets,
    required_hardness,
)
from hullbook.inspection.selectors.missing import CHECKS, NOT_JUDGED, Check, Missing, Unjudged, what_is_missing
from hullbook.inspection.selectors.resin import (
    NOT_BY_ZONE,
    MassBalance,
    PartUse,
    ZoneUse,
    mass_balance_of,
    planned_against_used,
    weighings,
)
from hullbook.inspection.selectors.stages import STAGE_NAMES, Stage, hull_stages, shed_stages

__all__ = [
    "CHECKS",
    "HARDNESS_MEAN",
    "NOT_BY_ZONE",
    "NOT_JUDGED",
    "STAGE_NAMES",
    "Check",
    "FindingView",
    "HardnessView",
    "MassBalance",
    "Missing",
    "PartUse",
    "RequiredHardness",
    "Stage",
    "Unjudged",
    "ZoneUse",
    "climate_of",
    "decision_about",
    "decisions_about",
    "finding_about",
    "findings_of",
    "gone_entries",
    "hardness_result",
    "hardness_sets",
    "hull_stages",
    "judgement_words",
    "mass_balance_of",
    "open_findings",
    "planned_against_used",
    "required_hardness",
    "shed_stages",
    "weighings",
    "what_is_missing",
]
