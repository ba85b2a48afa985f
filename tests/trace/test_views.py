import pytest
from django.test import Client
from django.urls import reverse

from tests.inspection.factories import Sheltered
from tests.trace.factories import FIRST, SECOND, SECOND_RESIN_LOT

pytestmark = pytest.mark.django_db
Hulls = dict[str, Sheltered]

PAGES = [
    reverse("trace:trace"),
    reverse("trace:lot", args=["R-0001"]),
    reverse("trace:hull", args=[FIRST]),
    reverse("trace:batch", args=["VE-10-26-04"]),
]


@pytest.fixture
def builder(hulls: Hulls, client: Client) -> Client:
    client.force_login(hulls[FIRST].shop.builder)
    return client


@pytest.mark.parametrize("page", PAGES)
def test_a_page_of_the_trace_is_shown(builder: Client, page: str) -> None:
    assert builder.get(page).status_code == 200


@pytest.mark.parametrize("page", PAGES)
def test_a_page_of_the_trace_takes_no_post(builder: Client, page: str) -> None:
    assert builder.post(page).status_code == 405


@pytest.mark.parametrize("page", PAGES)
def test_nobody_traces_without_signing_in(hulls: Hulls, client: Client, page: str) -> None:
    assert client.get(page).status_code == 302


def test_nobody_traces_without_a_role(hulls: Hulls, client: Client, django_user_model: type) -> None:
    nobody = django_user_model.objects.create_person(
        initials="ZZ", full_name="Zed Zander (invented)", sign_in_name="zz", password=None
    )
    client.force_login(nobody)
    assert client.get(reverse("trace:trace")).status_code == 403


@pytest.mark.parametrize(
    ("typed", "page"),
    [
        ("r-0007", reverse("trace:lot", args=["R-0007"])),
        (SECOND, reverse("trace:hull", args=[SECOND])),
        ("VE-10-26-04", reverse("trace:batch", args=["VE-10-26-04"])),
    ],
)
def test_a_name_typed_leads_to_its_page(builder: Client, typed: str, page: str) -> None:
    answer = builder.get(reverse("trace:trace"), {"q": typed})
    assert (answer.status_code, answer["Location"]) == (302, page)


def test_a_name_nobody_has_stays_typed_with_the_nearest_beside_it(builder: Client) -> None:
    answer = builder.get(reverse("trace:trace"), {"q": "R-9<b>"})
    page = answer.content.decode()
    assert answer.status_code == 404
    assert 'value="R-9&lt;b&gt;"' in page
    assert "Nearest: R-0" in page


@pytest.mark.parametrize(
    ("name", "unknown"), [("trace:lot", "R-9"), ("trace:hull", "MB84-9"), ("trace:batch", "nothing")]
)
def test_an_unknown_name_in_the_address_is_answered_with_a_sentence(builder: Client, name: str, unknown: str) -> None:
    answer = builder.get(reverse(name, args=[unknown]))
    assert answer.status_code == 404
    assert f"{unknown} here." in answer.content.decode()


def test_holes_stand_first(builder: Client) -> None:
    page = builder.get(reverse("trace:lot", args=["R-0001"])).content.decode()
    assert page.index("Cut off in") < page.index("Maker's batch")
    assert "line 2 wants GB-800 and is not logged" in page


def test_a_whole_answer_says_so(builder: Client) -> None:
    page = builder.get(reverse("trace:lot", args=[SECOND_RESIN_LOT])).content.decode()
    assert "Whole answer, not cut off." in page
    assert "Received 60.00 kg = used 24.00 + discarded 0.00 + left 36.00." in page


@pytest.mark.parametrize("page", PAGES)
def test_no_page_of_the_trace_says_because(builder: Client, page: str) -> None:
    assert "because" not in builder.get(page).content.decode().lower()
