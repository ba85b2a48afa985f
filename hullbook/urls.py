from django.urls import include, path

urlpatterns = [
    path("", include("hullbook.hulls.urls")),
    path("", include("hullbook.yard.urls")),
    path("store/", include("hullbook.materials.urls")),
    path("hulls/<str:number>/", include("hullbook.pours.urls")),
    path("hulls/<str:number>/", include("hullbook.cure.urls")),
    path("", include("hullbook.inspection.urls")),
    path("hulls/<str:number>/", include("hullbook.dossier.urls")),
    path("trace/", include("hullbook.trace.urls")),
    path("", include("hullbook.web.urls")),
]

handler403 = "hullbook.web.views.not_yours"
handler404 = "hullbook.web.views.not_found"
