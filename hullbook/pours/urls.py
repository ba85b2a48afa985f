from django.urls import path

from hullbook.pours import views

app_name = "pours"
urlpatterns = [
    path("parts/<str:part>/resin/", views.resin, name="resin"),
    path("parts/<str:part>/plan/", views.plan, name="plan"),
    path("parts/<str:part>/plan/set/", views.plan_set, name="plan-set"),
    path("parts/<str:part>/hold-tests/", views.hold_test_list, name="hold-tests"),
    path("parts/<str:part>/hold-tests/log/", views.hold_test_log, name="hold-test-log"),
    path("parts/<str:part>/hold-tests/<int:no>/", views.hold_test, name="hold-test"),
    path("parts/<str:part>/pours/begin/", views.begin, name="begin"),
    path("parts/<str:part>/pours/<int:no>/", views.pour, name="pour"),
    path("parts/<str:part>/pours/<int:no>/mix/", views.mix_log, name="mix-log"),
    path("parts/<str:part>/pours/<int:no>/mixes/<int:entry>/correct/", views.mix_correct, name="mix-correct"),
    path("parts/<str:part>/pours/<int:no>/remainder/", views.remainder_log, name="remainder-log"),
    path("parts/<str:part>/pours/<int:no>/gel/", views.gel_log, name="gel-log"),
    path("parts/<str:part>/pours/<int:no>/close/", views.close, name="close"),
]
