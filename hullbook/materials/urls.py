from django.urls import path

from hullbook.materials import views

app_name = "materials"
urlpatterns = [
    path("", views.store, name="store"),
    path("ledger/", views.ledger, name="ledger"),
    path("materials/", views.material_list, name="material-list"),
    path("materials/import/", views.materials_import, name="materials-import"),
    path("materials/table.csv", views.materials_csv, name="materials-csv"),
    path("materials/add/<str:kind>/", views.material_add, name="material-add"),
    path("materials/of/<str:code>/", views.material, name="material"),
    path("materials/of/<str:code>/newer-sheet/", views.sheet_revise, name="sheet-revise"),
    path("systems/add/", views.system_add, name="system-add"),
    path("systems/of/<str:code>/", views.system, name="system"),
    path("receive/", views.receive, name="receive"),
    path("receive/<str:code>/", views.lot_receive, name="lot-receive"),
    path("lots/<str:code>/", views.lot, name="lot"),
    path("lots/<str:code>/certificate/", views.certificate_attach, name="certificate-attach"),
    path("lots/<str:code>/certificates/<int:number>/", views.certificate, name="certificate"),
    path("lots/<str:code>/<slug:decision>/", views.lot_decide, name="lot-decide"),
]
