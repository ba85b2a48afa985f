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
    path("parts/<str:part>/feed-lines/", views.layout_log, name="layout-log"),
    path("parts/<str:part>/pours/begin/", views.begin, name="begin"),
    path("parts/<str:part>/pours/<int:no>/", views.pour, name="pour"),
    path("parts/<str:part>/pours/<int:no>/mix/", views.mix_log, name="mix-log"),
    path("parts/<str:part>/pours/<int:no>/mixes/<int:entry>/correct/", views.mix_correct, name="mix-correct"),
    path("parts/<str:part>/pours/<int:no>/remainder/", views.remainder_log, name="remainder-log"),
    path("parts/<str:part>/pours/<int:no>/gel/", views.gel_log, name="gel-log"),
    path("parts/<str:part>/pours/<int:no>/close/", views.close, name="close"),
    path("parts/<str:part>/pours/<int:no>/day/", views.day, name="day"),
    path("parts/<str:part>/pours/<int:no>/sheet.json", views.sheet, name="sheet"),
    path("parts/<str:part>/pours/<int:no>/inlet/", views.inlet_log, name="inlet-log"),
    path("parts/<str:part>/pours/<int:no>/front/", views.front_log, name="front-log"),
    path("parts/<str:part>/pours/<int:no>/reading/", views.reading_log, name="reading-log"),
    path("parts/<str:part>/pours/<int:no>/trouble/", views.trouble_log, name="trouble-log"),
    path("parts/<str:part>/pours/<int:no>/mended/", views.mended, name="mended"),
    path("parts/<str:part>/pours/<int:no>/pail-end/", views.pail_end, name="pail-end"),
    path("parts/<str:part>/pours/<int:no>/note/", views.note, name="note"),
    path("parts/<str:part>/pours/<int:no>/sound/", views.sound, name="sound"),
    path("parts/<str:part>/pours/<int:no>/alarm/", views.alarm, name="alarm"),
    path("parts/<str:part>/pours/<int:no>/questions/", views.questions, name="questions"),
    path("parts/<str:part>/pours/<int:no>/answer/", views.answer, name="answer"),
    path("parts/<str:part>/pours/<int:no>/gaps/", views.gaps, name="gaps"),
]
