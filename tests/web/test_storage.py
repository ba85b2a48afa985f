"""The files of pages under names with their hashes."""

import re
from pathlib import Path

from django.core.management import call_command


def test_a_script_that_imports_another_gets_it_by_its_hashed_name(settings, tmp_path: Path) -> None:
    written = tmp_path / "written"
    (written / "js").mkdir(parents=True)
    (written / "js" / "outer.js").write_text(
        'import {inner} from "./inner.js";\nexport * from "./inner.js";\ninner();\n'
    )
    (written / "js" / "inner.js").write_text("export const inner = () => 1;\n")
    settings.STATICFILES_DIRS = [written]
    settings.STATICFILES_FINDERS = ["django.contrib.staticfiles.finders.FileSystemFinder"]
    settings.STATIC_ROOT = tmp_path / "served"
    settings.STORAGES = {
        **settings.STORAGES,
        "staticfiles": {"BACKEND": "hullbook.web.storage.PageFiles"},
    }
    call_command("collectstatic", verbosity=0, interactive=False)
    (outer,) = (settings.STATIC_ROOT / "js").glob("outer.????????????.js")
    (inner,) = (settings.STATIC_ROOT / "js").glob("inner.????????????.js")
    assert re.findall(r'"\./(inner[^"]*)"', outer.read_text()) == [inner.name, inner.name]
