from django.urls import path

from hullbook.trace import views

app_name = "trace"
urlpatterns = [
    path("", views.trace, name="trace"),
    path("lots/<str:code>/", views.lot, name="lot"),
    path("hulls/<str:number>/", views.hull, name="hull"),
    path("batches/<path:batch>/", views.batch, name="batch"),
]
