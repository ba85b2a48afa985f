import pytest, time
from tests.dossier.factories import build_hull
from hullbook.dossier.selectors import dossier_content, book_of
from hullbook.dossier.report import draw_dossier, reading_copy

pytestmark = pytest.mark.django_db


def test_it():
    built = build_hull()
    t = time.time()
    content = dossier_content(built.hull)
    t1 = time.time()
    pdf = draw_dossier(content)
    t2 = time.time()
    print("gather", t1 - t, "draw", t2 - t1, len(pdf), len(book_of(content)))
    __import__("pathlib").Path("/tmp/d.pdf").write_bytes(pdf)
    __import__("pathlib").Path("/tmp/r.pdf").write_bytes(reading_copy(content, pdf))
    assert draw_dossier(dossier_content(built.hull)) == pdf
