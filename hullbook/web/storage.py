"""How the files of pages are kept for serving."""

from collections.abc import Callable
from re import Match
from typing import Any

from whitenoise.storage import CompressedManifestStaticFilesStorage


class PageFiles(CompressedManifestStaticFilesStorage):
    """Every file under a name with its hash, also where one script of ours imports another."""

    support_js_module_import_aggregation = True

    def url_converter(self, name: str, *args: Any, **kwargs: Any) -> Callable[[Match[str]], str]:
        if name.endswith(".js") and not name.startswith("js/"):
            # Scripts of other packages import by names that are no files.
            return lambda found: found.group(0)
        convert: Callable[[Match[str]], str] = super().url_converter(name, *args, **kwargs)
        return convert
