from django.urls import path

from hullbook.dossier import views

app_name = "dossier"
urlpatterns = [
    path("dossier/", views.dossier, name="dossier"),
    path("dossier/issue/", views.issue, name="issue"),
    path("dossier/draw/", views.draw, name="draw"),
    path("dossier/issues/<int:issue>/", views.download, name="download"),
]
