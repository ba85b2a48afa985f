from django.urls import path

from hullbook.web import views

app_name = "web"
urlpatterns = [
    path("sw.js", views.service_worker, name="service-worker"),
    path("hullbook.webmanifest", views.manifest, name="manifest"),
]
