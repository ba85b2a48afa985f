from hullbook.web.forms import LogForm


class IssueForm(LogForm):
    """Nothing to key: an issue says what the book says."""

    act = "Issue the dossier"
