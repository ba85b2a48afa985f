import pytest
from tests.hulls.factories import make_berth

pytestmark = pytest.mark.django_db


def test_x():
    b = make_berth()
    from hullbook.hulls.selectors import schedule_view, lay_up, last_entries, entries_in_words
    from hullbook.materials.selectors import sheet_in_force

    b.lay(1)
    b.lay(2)
    v = schedule_view(b.revision, sheet_in_force(b.shelf.resin).values["cured_density_kg_m3"])
    for z in v.zones:
        print(
            z.zone,
            z.stack,
            z.fibre_kg,
            z.resin_kg,
            z.core_kg,
            z.thickness_mm,
            z.lacking,
            [l.planned_quantity for l in z.lines],
        )
    print(lay_up(b.part).laid_count)
    for e in last_entries(b.hull):
        print(e.what, e.in_short, e.verdicts)
    from hullbook.records.selectors import entries_about

    for e in entries_in_words(entries_about("MB84-01")):
        print(e)
    assert 0
