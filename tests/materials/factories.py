"""An invented shelf: what a small yard has in the store to build one sandwich hull, with one released lot of each."""

import datetime as dt
from dataclasses import dataclass, field
from functools import cache
from io import BytesIO

from pypdf import PdfWriter

from hullbook.materials import services
from hullbook.materials.enums import CoreFinish, LotState, MaterialKind, SourceKind, StockUnit
from hullbook.materials.models import Lot, Material, ResinSystem
from hullbook.materials.services import GivenGelTime, GivenProperty
from tests.cast import DAY, Shop, told

SHEET = "invented data sheet, edition 2"


@dataclass(frozen=True)
class Shelf:
    """Materials by name, and the one released lot of each in `lots` by the material's code."""

    biax: Material
    csm: Material
    quad: Material
    uni: Material
    core: Material
    contour_core: Material
    resin: Material
    catalyst: Material
    gelcoat: Material
    flow_medium: Material
    peel_ply: Material
    spiral: Material
    hose: Material
    system: ResinSystem
    lots: dict[str, Lot] = field(default_factory=dict)

    def lot(self, material: Material) -> Lot:
        return self.lots[material.code]


def given(**values: float) -> list[GivenProperty]:
    """Properties as an invented data sheet gives them."""
    return [GivenProperty(name, value, SourceKind.DATA_SHEET, SHEET) for name, value in values.items()]


@cache
def certificate_pdf(words: str = "invented certificate") -> bytes:
    """A small real PDF with the words as its title."""
    writer = PdfWriter()
    writer.add_blank_page(210, 297)
    writer.add_metadata({"/Title": words})
    content = BytesIO()
    writer.write(content)
    return content.getvalue()


def add(
    code: str, kind: str, stock_unit: str, name: str, *, fibre: str = "", finish: str = "", **values: float
) -> Material:
    return services.add_material(
        code=code,
        kind=kind,
        stock_unit=stock_unit,
        name=name,
        maker="Tarn Mills (invented)",
        fibre=fibre,
        finish=finish,
        properties=given(**values),
        told=told(),
    )


def receive(
    material: Material,
    *,
    code: str,
    quantity: float = 100.0,
    use_by: dt.date | None = dt.date(2027, 3, 31),
    **changes: object,
) -> Lot:
    """A lot that came in April and waits for its release."""
    fields: dict[str, object] = {
        "code": code,
        "material": material,
        "makers_batch": f"{material.code}-26-04",
        "supplier_note": "DN-4471",
        "received_quantity": quantity,
        "received_on": DAY - dt.timedelta(days=20),
        "made_on": DAY - dt.timedelta(days=60),
        "use_by": use_by,
        "no_use_by": use_by is None,
        "storage_place": "rack 2",
        "told": told(),
    }
    return services.receive_lot(**{**fields, **changes})  # type: ignore[arg-type]


def release(lot: Lot) -> Lot:
    """With its certificate, as a lot should be."""
    services.attach_certificate(
        lot=lot,
        kind="inspection certificate 3.1",
        number=f"C-{lot.makers_batch}",
        dated_on=DAY - dt.timedelta(days=50),
        content=certificate_pdf(lot.makers_batch),
        sent_name=f"{lot.makers_batch}.pdf",
        told=told(),
    )
    services.decide_lot(lot=lot, state=LotState.RELEASED, words="", told=told())
    return lot


def add_system(resin: Material, catalyst: Material, code: str = "VE-10-P50") -> ResinSystem:
    minutes = {18.0: (95, 70, 50), 23.0: (65, 45, 32), 28.0: (45, 30, 22)}
    return services.add_resin_system(
        code=code,
        resin=resin,
        catalyst=catalyst,
        dose_low_phr=1.0,
        dose_high_phr=2.0,
        gel_times=[
            GivenGelTime(dose_phr, temperature_c, shortest * 0.9, shortest * 1.1)
            for temperature_c, row in minutes.items()
            for dose_phr, shortest in zip((1.0, 1.5, 2.0), row, strict=True)
        ],
        source_kind=SourceKind.DATA_SHEET,
        source=SHEET,
        told=told(),
    )


def stock_shelf(shop: Shop) -> Shelf:
    """Everything an 8.4 m tender takes, in the store of an open shop and released by its quality lead."""
    glass, core, consumable = MaterialKind.REINFORCEMENT, MaterialKind.CORE, MaterialKind.CONSUMABLE
    kg, m2, m = StockUnit.KILOGRAM, StockUnit.SQUARE_METRE, StockUnit.METRE
    biax = add(
        "GB-800", glass, m2, "Biaxial glass 800", fibre="glass",
        areal_weight_kg_m2=0.8, fibre_density_kg_m3=2560, fibre_volume_fraction=0.52, roll_width_m=1.27,
        permeability_um2=90, permeability_through_um2=2.2,
    )  # fmt: skip
    csm = add(
        "GM-225", glass, m2, "Chopped strand mat 225", fibre="glass",
        areal_weight_kg_m2=0.225, fibre_density_kg_m3=2560, fibre_mass_fraction=0.42, roll_width_m=1.25,
        permeability_um2=160, permeability_through_um2=5,
    )  # fmt: skip
    quad = add(
        "GQ-1200", glass, m2, "Quadriaxial glass 1200", fibre="glass",
        areal_weight_kg_m2=1.2, fibre_density_kg_m3=2560, fibre_volume_fraction=0.52, roll_width_m=1.27,
        permeability_um2=90, permeability_through_um2=2.2,
    )  # fmt: skip
    uni = add(
        "GU-600", glass, m2, "Unidirectional glass 600", fibre="glass",
        areal_weight_kg_m2=0.6, fibre_density_kg_m3=2560, fibre_volume_fraction=0.55, roll_width_m=0.6,
        permeability_um2=60, permeability_through_um2=2.2,
    )  # fmt: skip
    foam = {"density_kg_m3": 80, "polymer_density_kg_m3": 1400, "cell_diameter_mm": 0.4, "sheet_area_m2": 2.4}
    plain_core = add(
        "PV-80-20", core, m2, "PVC 80 foam 20 mm, grooved and perforated", finish=CoreFinish.GROOVED_PERFORATED,
        thickness_mm=20, groove_width_mm=2, groove_depth_mm=2, groove_pitch_mm=20, groove_directions=2,
        hole_diameter_mm=2, hole_pitch_mm=20, **foam,
    )  # fmt: skip
    contour_core = add(
        "PV-80-25C", core, m2, "PVC 80 foam 25 mm, contour-cut", finish=CoreFinish.CONTOUR_CUT,
        thickness_mm=25, kerf_width_mm=0.2, kerf_depth_mm=25, kerf_pitch_mm=30, kerf_directions=2, **foam,
    )  # fmt: skip
    resin = add(
        "VE-10", MaterialKind.RESIN, kg, "Vinyl ester infusion resin",
        liquid_density_kg_m3=1080, cured_density_kg_m3=1140, viscosity_pa_s=0.2, required_hardness=35,
        shelf_life_days=180, viscosity_at_c=20, second_viscosity_pa_s=0.17, second_viscosity_at_c=25,
        styrene_mass_fraction=0.42,
    )  # fmt: skip
    catalyst = add("P-50", MaterialKind.CATALYST, kg, "Peroxide catalyst", density_kg_m3=1160, shelf_life_days=365)
    gelcoat = add("GC-1", MaterialKind.GELCOAT, kg, "White gelcoat", liquid_density_kg_m3=1250, shelf_life_days=180)
    flow_medium = add(
        "FM-1", consumable, m2, "Flow medium",
        thickness_mm=1.0, areal_weight_kg_m2=0.16, polymer_density_kg_m3=950, permeability_um2=4000,
    )  # fmt: skip
    peel_ply = add(
        "PP-1", consumable, m2, "Peel ply", thickness_mm=0.15, areal_weight_kg_m2=0.085, polymer_density_kg_m3=1140,
        pick_up_kg_m2=0.06, permeability_through_um2=0.7,
    )  # fmt: skip
    spiral = add("SP-12", consumable, m, "Spiral tube 12", bore_mm=12)
    hose = add("HO-12", consumable, m, "Feed hose 12", bore_mm=12)
    quantities = {
        biax: 420.0, csm: 160.0, quad: 180.0, uni: 60.0, plain_core: 96.0, contour_core: 24.0,
        resin: 600.0, catalyst: 20.0, gelcoat: 60.0, flow_medium: 120.0, peel_ply: 150.0, spiral: 100.0, hose: 100.0,
    }  # fmt: skip
    dated = (resin, catalyst, gelcoat)
    lots = {
        material.code: release(
            receive(
                material,
                code=f"R-{number:04}",
                quantity=quantity,
                use_by=dt.date(2026, 10, 31) if material in dated else None,
            )
        )
        for number, (material, quantity) in enumerate(quantities.items(), start=1)
    }
    return Shelf(
        biax=biax,
        csm=csm,
        quad=quad,
        uni=uni,
        core=plain_core,
        contour_core=contour_core,
        resin=resin,
        catalyst=catalyst,
        gelcoat=gelcoat,
        flow_medium=flow_medium,
        peel_ply=peel_ply,
        spiral=spiral,
        hose=hose,
        system=add_system(resin, catalyst),
        lots=lots,
    )
