from django.db.models import TextChoices


class BuildRegime(TextChoices):
    RECREATIONAL = "recreational", "recreational craft"
    COMMERCIAL_SURVEY = "commercial survey", "commercial craft under survey"
    OTHER = "other", "other, as agreed"


class CraftNumberForm(TextChoices):
    US = "US", "12 characters, 33 CFR 181.25"
    ISO = "ISO", "country and 12 characters, ISO 10087"


class Side(TextChoices):
    BOTH = "both", "both sides"
    PORT = "port", "port"
    STARBOARD = "starboard", "starboard"


class RevisionState(TextChoices):
    DRAFT = "draft", "draft"
    SIGNED = "signed", "signed"
    SUPERSEDED = "superseded", "superseded"


class LayingOutcome(TextChoices):
    LAID = "laid", "laid as the line says"
    OTHERWISE = "laid otherwise", "laid otherwise"
    NOT_LAID = "not laid", "not laid"
    EXTRA = "extra", "laid beside the schedule"
