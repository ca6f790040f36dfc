"""What somebody else writes between an entry's first look and the lock: looked at again, under it."""

from collections.abc import Callable
from threading import Thread
from types import ModuleType

import pytest
from django.db import connection

from lots.entries import house, load, lot, paper, plan, reading
from lots.entries.files import Upload
from lots.entries.load import Portion
from lots.entries.readings import Figure
from lots.entries.refusals import Changed, Refused
from lots.models.house import Place
from lots.models.lot import Lot
from lots.models.plan import PlanVersion
from lots.models.scratch import PlanDraft
from lots.queries.judgements import judge_lot
from lots.queries.plans import starting_plans
from tests.make import Book, make_book, moment, seen

Hook = Callable[[ModuleType, Callable[[], object]], None]
PNG = Upload("sheet.png", b"\x89PNG\r\n\x1a\n" + b"invented")


@pytest.fixture
def meanwhile(monkeypatch: pytest.MonkeyPatch) -> Hook:
    """Has another act written once, when the entry has looked and not yet begun to write."""

    def hook(module: ModuleType, other: Callable[[], object], name: str = "notice_lapses") -> None:
        real, done = getattr(module, name), []

        def first(*args: object) -> object:
            if not done:
                done.append(True)
                other()
            return real(*args)

        monkeypatch.setattr(module, name, first)

    return hook


def test_a_start_moved_back_meanwhile_is_not_moved_forward(book: Book, meanwhile: Hook) -> None:
    held = book.start("hold", "Cooler", "09:00", book.open_lot())
    further = seen("08:00", "09:10", "misread")
    meanwhile(load, lambda: load.move_start(book.operator, held, further, "since eight"))
    with pytest.raises(Refused, match="only be moved back"):
        load.move_start(book.operator, held, seen("08:30", "09:10", "misread"), "since half past")


def test_a_lot_voided_meanwhile_goes_into_no_load(book: Book, meanwhile: Hook) -> None:
    one = book.open_lot()
    meanwhile(load, lambda: lot.void_lot(book.operator, one, "twice", moment("08:00")))
    with pytest.raises(Refused, match="was voided"):
        load.start_load(book.operator, book.place("Cooler"), whole(one, "hold"), seen("08:10"))


def whole(one: Lot, step: str) -> list[Portion]:
    return [Portion(one, step, one.quantity_g)]


def test_a_place_closed_meanwhile_takes_no_load(book: Book, meanwhile: Hook) -> None:
    one, place = book.open_lot(), book.place("Cooler")
    theirs = Place.objects.get(pk=place.pk)  # whoever closes it has a row of their own in hand
    meanwhile(load, lambda: house.close_place(book.keeper, theirs, "broken", moment("08:00")))
    with pytest.raises(Refused, match="is closed"):
        load.start_load(book.operator, place, whole(one, "hold"), seen("08:10"))


def test_a_lot_put_to_work_meanwhile_is_not_voided(book: Book, meanwhile: Hook) -> None:
    one = book.open_lot()
    meanwhile(lot, lambda: book.start("brine", "Brine tank 1", "07:30", one), "act")
    with pytest.raises(Refused, match="not opened in error"):
        lot.void_lot(book.operator, one, "twice", moment("08:00"))


def test_a_load_ended_meanwhile_takes_no_later_reading(book: Book, meanwhile: Hook) -> None:
    smoked = book.start("smoke", "Smokehouse 1", "08:00", book.open_lot())
    book.fish(smoked, "08:05 60")
    meanwhile(reading, lambda: book.end(smoked, "08:10"))
    with pytest.raises(Refused, match="had ended by then"):
        reading.enter_readings(
            book.operator, smoked.place, smoked, [Figure("61", "F", "fish 1")], seen("08:20")
        )


def test_a_load_ended_meanwhile_takes_no_later_line_of_a_sheet(book: Book, meanwhile: Hook) -> None:
    smoked = book.start("smoke", "Smokehouse 1", "08:00", book.open_lot())
    book.fish(smoked, "08:05 60")
    rows = [paper.PaperRow(moment("08:20"), (Figure("61", "F", "fish 1"),))]
    sheet = paper.Sheet(rows, {}, moment("08:20"), of_fish=True)
    meanwhile(paper, lambda: book.end(smoked, "08:10"))
    with pytest.raises(Refused, match="had ended by then"):
        paper.enter_from_paper(
            book.operator, smoked, sheet, PNG, seen("08:30", because="the tablet died")
        )


def test_a_load_begun_meanwhile_has_the_reading_of_its_place(book: Book, meanwhile: Hook) -> None:
    """It stood there when the cooler was read, and only its start came in late."""
    one = book.open_lot()
    meanwhile(reading, lambda: book.start("hold", "Cooler", "08:00", one))
    judged = book.at_place("Cooler", "08:05 45.0")
    assert {found.part.lot.code for found in judged} == {one.code}
    at = moment("08:10")
    so_far = {found.limit.id: found.verdict for found in judge_lot(one, at)}
    assert so_far == {found.limit.id: found.verdict for found in judge_lot(one, at, anew=True)}


def test_why_a_probe_left_is_said_once(book: Book, meanwhile: Hook) -> None:
    smoked = book.start("smoke", "Smokehouse 1", "08:00", book.open_lot())
    book.fish(smoked, "08:05 60, 08:10 70")

    def say() -> object:
        return load.say_probe_left(book.operator, smoked, "fish 1", seen("08:12"), "it fell out")

    meanwhile(load, say)
    with pytest.raises(Refused, match="already in the book"):
        say()


def test_a_code_taken_meanwhile_is_refused_in_words(book: Book, meanwhile: Hook) -> None:
    meanwhile(lot, lambda: book.open_lot("TR-9"), "media_type")  # type: ignore[call-arg]
    with pytest.raises(Refused, match="already a lot TR-9"):
        book.open_lot("TR-9", attachment=PNG)


@pytest.mark.django_db(transaction=True)
def test_a_draft_saved_while_it_is_published_is_not_lost(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Whoever saves then waits, and is told that the draft is published."""
    book = make_book()
    content = starting_plans()["hot-smoked-vacuum-frozen"] | {"title": "Trial"}
    draft = plan.begin_draft(book.coordinator, "Trial", content, None, moment("08:00"))
    came: list[object] = []

    def save() -> None:
        try:
            again = PlanDraft.objects.get(pk=draft.pk)
            changed = content | {"title": "Other"}
            plan.save_draft(book.coordinator, again, "Other", changed, moment("08:01"))
            came.append("saved")
        except (Changed, PlanDraft.DoesNotExist) as refusal:
            came.append(refusal)
        finally:
            connection.close()

    saving = Thread(target=save)
    real = plan.goes_to

    def slow(which: PlanDraft) -> object:
        saving.start()
        saving.join(1)
        return real(which)

    monkeypatch.setattr(plan, "goes_to", slow)
    plan.publish_plan(book.coordinator, draft, "", moment("08:02"))
    saving.join(30)
    assert PlanVersion.objects.filter(plan__title="Trial").exists()
    assert [type(one) for one in came] == [Changed]
