import hashlib
import unicodedata
from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache
from io import BytesIO
from itertools import pairwise
from pathlib import Path as File
from subprocess import run

import pikepdf
import pytest

from lots.core.record import Acceptance, LotRecord, ReleaseFacts, canonical_bytes, record_from
from lots.pdf.faces import missing_glyphs, printable, width, wrapped
from lots.pdf.layout import ASCENT, DESCENT, PAPERS, Page, Text
from lots.pdf.logged import interval_of, slots
from lots.pdf.render import ATTACHMENT, DEMO, SECTIONS, PaperName, lay_out, render
from lots.pdf.sections import in_order
from lots.pdf.shapes import verdict_shape
from lots.pdf.words import VERDICTS, shown_in
from tests.pdf.make import MIN, at, make_long_record, make_record, make_series

RICH, LONG = make_record(), make_long_record()
BOTH = pytest.mark.parametrize("paper", ["letter", "A4"])
EACH = pytest.mark.parametrize("record", [RICH, LONG], ids=["rich", "long"])


@lru_cache
def pages_of(record: LotRecord, paper: PaperName = "letter") -> list[Page]:
    return lay_out(record, PAPERS[paper], hashlib.sha256(canonical_bytes(record)).hexdigest())


@lru_cache
def read_pages(record: LotRecord, paper: PaperName = "letter") -> list[str]:
    """Each page's text as poppler reads it out of the file, white space evened out."""
    said = run(
        ["pdftotext", "-raw", "-", "-"], input=render(record, paper), capture_output=True
    ).stdout
    return [" ".join(page.split()) for page in said.decode().split("\f")[:-1]]


def whole(record: LotRecord) -> str:
    return " ".join(read_pages(record))


def section(record: LotRecord, key: str) -> str:
    """The text between a section's heading and the next one's."""
    titles = {k: f"{i} {title}" for i, (k, title, _) in enumerate(SECTIONS, 1)}
    keys = list(titles)
    text, after = whole(record), keys.index(key) + 1
    start = text.rindex(titles[key])
    return text[start : text.rindex(titles[keys[after]])] if after < len(keys) else text[start:]


@BOTH
@EACH
def test_two_renders_are_the_same_bytes(record: LotRecord, paper: PaperName) -> None:
    assert render(record, paper) == render(record_from(canonical_bytes(record)), paper)


@BOTH
@EACH
def test_every_page_says_lot_digest_and_which_page_of_how_many(
    record: LotRecord, paper: PaperName
) -> None:
    pages = read_pages(record, paper)
    digest = hashlib.sha256(canonical_bytes(record)).hexdigest()[:16]
    for number, text in enumerate(pages, 1):
        assert f"Lot {record.lot.code} page {number} of {len(pages)}" in text
        assert digest in text
        assert DEMO in text


def test_only_a_demonstration_calls_itself_one() -> None:
    place = replace(RICH.establishment, demo=0)
    assert DEMO not in whole(replace(RICH, establishment=place))


@BOTH
@EACH
def test_nothing_leaves_the_paper_and_no_two_texts_overlap(
    record: LotRecord, paper: PaperName
) -> None:
    size = PAPERS[paper]
    for page in pages_of(record, paper):
        boxes = sorted(boxes_of(page))
        for left, low, right, high, text in boxes:
            assert size.left - 1 <= left and right <= size.width - 24, text
            assert low >= 20 and high <= size.height - 20, text
        assert list(overlaps(boxes)) == []


Box = tuple[float, float, float, float, str]


def boxes_of(page: Page) -> Iterator[Box]:
    for mark in page.marks:
        if isinstance(mark, Text):
            wide = width(mark.text, mark.face, mark.size)
            low, high = mark.y - DESCENT * mark.size * 0.8, mark.y + ASCENT * mark.size * 0.8
            yield mark.x, low, mark.x + wide, high, mark.text


def overlaps(boxes: list[Box]) -> Iterator[tuple[str, str]]:
    for index, (_, low, right, high, text) in enumerate(boxes):
        for other_left, other_low, _, other_high, other in boxes[index + 1 :]:
            if other_left >= right:
                break
            if other_low < high - 0.5 and low < other_high - 0.5:
                yield text, other


def test_the_overlap_test_sees_an_overlap() -> None:
    page = Page([Text(60, 100, "Body", 9, "one"), Text(70, 104, "Body", 9, "other")])
    assert list(overlaps(sorted(boxes_of(page)))) == [("one", "other")]


@EACH
def test_every_text_of_the_record_is_on_its_pages(record: LotRecord) -> None:
    """Texts that may run over a page's end (thousands of letters) are asked for by their beginning."""
    told = squeezed("".join(read_pages(record)))
    texts = [*texts_of(record), *(p.corrective_action[:300] for p in record.control_points)]
    assert [text for text in texts if squeezed(text) not in told] == []


def squeezed(text: str) -> str:
    """The text without white space, so that the ends of lines do not matter."""
    return "".join(unicodedata.normalize("NFC", text).split())


def texts_of(record: LotRecord) -> Iterator[str]:
    place, lot, plan = record.establishment, record.lot, record.plan
    yield from (
        place.name,
        lot.code,
        lot.product,
        lot.species,
        lot.supplier,
        lot.supplier_lot,
        lot.packs,
    )
    yield from (plan.title, plan.intended_use, plan.pack, plan.storage, plan.shelf_life)
    for point in record.control_points:
        yield from (point.name, point.hazard, point.monitor_how, point.monitor_who)
        for limit in point.limits:
            yield from (limit.sentence, limit.operating, limit.source, limit.flag)
    for v in record.verdicts:
        yield from (v.figure, v.bound, v.estimate, v.why, *v.rests_on, VERDICTS[v.verdict])
    for load in record.loads:
        yield from (load.step, load.place, load.started_by, *(m.reason for m in load.moved))
        yield from (
            load.note,
            load.of_lot,
            *(word for p in load.probes_left for word in (p.probe, p.reason)),
        )
        for end in load.ends:
            yield from (end.reason, end.note, *accepted(end.accepted))
    for r in record.readings:
        yield from (
            r.place,
            r.probe,
            r.as_read,
            r.instrument,
            r.initials,
            r.reason,
            r.note,
            *accepted(r.accepted),
        )
    for o in record.observations:
        yield from (o.what, o.found, o.note, o.attachment, o.attachment_sha256, o.reason)
        yield from accepted(o.accepted)
    for s in record.series:
        yield from (
            s.name,
            s.place,
            s.probe,
            s.instrument,
            s.file,
            s.file_sha256,
            s.digest,
            f"{s.count:,} readings",
        )
    for result in record.results:
        yield from (
            result.quantity,
            result.laboratory,
            result.method,
            result.file_sha256,
            result.note,
        )
        yield from (f"{one.figure} ({one.portion})" for one in result.samples)
    for i in record.instruments:
        yield from (i.name, i.kind, i.method, i.result)
    for d in record.deviations:
        yield from (d.bound, d.lot, d.figure, d.evidence, *(x.reason for x in d.dispositions))
        yield from (word for note in d.notes for word in (note.figure, note.why, KINDS[note.kind]))
    for kin in (*lot.parents, *lot.children):
        yield from (kin.lot, kin.how, kin.initials, kin.reason, ", ".join(map(str, kin.loads)))
    yield from (word for gone in lot.destroyed for word in (gone.initials, gone.reason))
    yield from (word for one in record.adjustments for word in (one.figure, one.what))
    yield from (lot.finished_by, lot.finish_note, record.release.stated, record.release.note)
    for one in record.signatures:
        yield from (one.printed_name, one.meaning, one.signed, one.right, one.certificate, one.note)
    for person in record.people:
        yield f"{person.initials} {person.printed_name}"
    yield from (record.book.digest, str(record.book.line), *record.unjudged, record.changed)
    shown = shown_in(record)
    moments = [m for r in record.readings for m in (r.observed_at, r.entered_at, r.recorded_at)]
    yield from (shown.moment(m) for m in moments)


KINDS = {"extended": "broken again or further", "not reproduced": "not reproduced from here on"}


def accepted(rows: tuple[Acceptance, ...]) -> Iterator[str]:
    yield from (f"by {one.initials}: {one.reason}" for one in rows)


def test_no_font_is_left_out_of_the_file() -> None:
    for record in (RICH, LONG):
        said = run(["pdffonts", "-"], input=render(record), capture_output=True).stdout.decode()
        rows = said.splitlines()[2:]
        assert rows and all("DejaVu" in row and " yes yes yes " in row for row in rows), said


def test_latin_greek_and_cyrillic_have_their_glyphs() -> None:
    ranges = (
        (0x20, 0x7E),
        (0xA1, 0x17F),
        (0x391, 0x3A1),
        (0x3A3, 0x3C9),
        (0x400, 0x45F),
        (0x1F00, 0x1F15),
    )
    text = "".join(chr(c) for first, last in ranges for c in range(first, last + 1))
    assert missing_glyphs(text.replace("\xad", "")) == ()
    assert missing_glyphs("·–—“”’№€°±²½×→−≤≥…") == ()


def test_a_character_without_a_glyph_is_named_and_never_vanishes() -> None:
    odd = "Fisch 鱼 \u202e🐟"
    assert missing_glyphs(odd) == ("鱼", "\u202e", "🐟")
    record = replace(RICH, lot=replace(RICH.lot, supplier=odd))
    assert "Fisch [U+9C7C] [U+202E][U+1F41F]" in whole(record)


def test_a_text_cannot_pass_itself_off_as_a_page_number() -> None:
    assert printable("\ue000plan\ue000") == "[U+E000]plan[U+E000]"


def test_a_long_word_is_broken_and_none_of_it_lost() -> None:
    word = "Räucherofen" * 20
    lines = wrapped(word, "Body", 9, 80)
    assert "".join(lines) == word
    assert all(width(line, "Body", 9) <= 80 for line in lines)


def test_a_figure_stays_with_its_unit_and_a_day_with_its_hour() -> None:
    for room in range(120, 400, 7):
        lines = wrapped("it was 38 °F at 4 Mar 2026 14:05 −05:00 and after", "Body", 9, float(room))
        assert any("38 °F" in line for line in lines)
        assert any("4 Mar 2026 14:05 −05:00" in line for line in lines)


# --- 21 CFR 123.9(a): what each record shall include ------------------------------------------


def test_123_9_a_1_name_and_location_of_the_processor() -> None:
    first = read_pages(RICH)[0]
    assert "Larkwater Smokehouse 9 Invented Quay, Fictional Harbor, ME" in first
    assert all("Larkwater Smokehouse" in page for page in read_pages(RICH))


def test_123_9_a_2_date_and_time_of_each_activity() -> None:
    shown = shown_in(RICH)
    for key, moments in {
        "loads": [m for one in RICH.loads for m in (one.started_at, one.ended_at) if m],
        "readings": [one.observed_at for one in RICH.readings],
        "observations": [one.observed_at for one in RICH.observations],
        "results": [one.sampled_at for one in RICH.results],
        "logged": [m for one in RICH.series for m in (one.first_at, one.last_at, one.imported_at)],
        "deviations": [a.taken_at for d in RICH.deviations for a in d.actions],
        "signatures": [one.signed_at for one in RICH.signatures],
    }.items():
        text = section(RICH, key)
        for moment in moments:
            assert shown.moment(moment) in text, (key, moment)


def test_123_9_a_3_signature_or_initials_of_whoever_did_it() -> None:
    shown = shown_in(RICH)
    readings, observed = section(RICH, "readings"), section(RICH, "observations")
    for one in RICH.readings:
        assert f"{one.number} {shown.moment(one.observed_at)} {one.initials} " in readings
    for seen in RICH.observations:
        assert f"{seen.number} {shown.moment(seen.observed_at)} {seen.initials} " in observed
    loads = section(RICH, "loads")
    for load in RICH.loads:
        assert f"{shown.moment(load.started_at)} {load.started_by}" in loads
    for person in RICH.people:
        assert f"{person.initials} {person.printed_name}" in section(RICH, "people")
    assert "Printed name Marit Oakhollow (MO)" in section(RICH, "signatures")


def test_123_9_a_4_identity_of_the_product_and_its_code() -> None:
    first = read_pages(RICH)[0]
    assert "Lot T-0304-1 Hot-smoked trout, vacuum-packed, kept frozen" in first
    assert all("Lot T-0304-1" in page for page in read_pages(RICH))


def test_123_9_a_entered_at_the_time_of_observation_or_said_to_be_late() -> None:
    text = section(RICH, "readings")
    assert "5 Mar 2026 01:30 −05:00 JW 5 Mar 2026 06:10 −05:00" in text
    assert "Entered late: tablet was left in the office overnight" in text


def test_the_table_of_required_items_names_each_and_points_to_the_right_page() -> None:
    text = section(RICH, "required")
    for rule in ("123.9(a)(1)", "123.9(a)(2)", "123.9(a)(3)", "123.9(a)(4)", "123.9(a)"):
        assert f"21 CFR {rule} " in text
    pages = read_pages(RICH)
    for key in ("readings", "observations", "loads", "deviations"):
        number = next(i for i, page in enumerate(pages, 1) if title_of(key) in page)
        assert f"{key} page {number}" in text.replace("\n", " ")


def title_of(key: str) -> str:
    return next(f"{i} {title}" for i, (k, title, _) in enumerate(SECTIONS, 1) if k == key)


# --- 21 CFR 123.7(d): corrective actions fully documented, item by item of 123.7(b) and (c) ----


def test_123_7_b_says_whether_the_plans_written_action_was_followed() -> None:
    text = section(RICH, "deviations")
    assert "Plan’s written action followed no; the procedure of 123.7(c) was followed" in text
    assert "Plan’s written action followed yes (123.7(b))" in text


@pytest.mark.parametrize(
    ("item", "words"),
    [
        ("123.7(c)(1) segregated and held", "Segregated and held yes, 6 racks tagged"),
        (
            "123.7(c)(2) acceptability, by whom",
            "Acceptability to be reviewed by Marit Oakhollow Plan to be",
        ),
        ("123.7(c)(3) the affected product", "What was done with the fish Held in brine tank 2"),
        ("123.7(c)(4) the cause corrected", "What restored control Compressor breaker reset"),
        ("123.7(c)(4) the cause", "Cause Compressor breaker tripped at midnight"),
        (
            "123.7(c)(5) reassessment, by whom",
            "Plan to be reassessed by Marit Oakhollow, by",
        ),
        ("123.7(c)(5) reassessment, by when", "Marit Oakhollow, by 12 Mar 2026 What"),
        ("123.7(d) who and when", "Action taken 5 Mar 2026 06:30 −05:00 by JW"),
        ("123.7(d) the deviation", "D1 CCP2.2 Brining Limit Given brining over 4 h"),
        ("123.7(d) its figure", "Figure 43.4 °F (deviation)"),
        ("123.7(d) when it broke", "The limit broke 5 Mar 2026 00:21 −05:00"),
        ("123.7(d) evidence", "Evidence when opened Series Brine room, 381 readings above 38 °F"),
        ("123.7(d) disposition", "release 112.0 kg 5 Mar 2026 17:45 −05:00 MO"),
        ("123.7(d) disposition", "recall 8.0 kg 5 Mar 2026 17:46 −05:00 MO"),
        ("123.7(d) held first", "hold (not final) 120.0 kg"),
    ],
)
def test_123_7_d_is_documented(item: str, words: str) -> None:
    assert words in section(RICH, "deviations"), item


def test_a_deviation_no_longer_reproduced_stays_and_says_so() -> None:
    assert "Still reproduced no: the readings as they stand now" in section(RICH, "deviations")


# --- the first page ---------------------------------------------------------------------------


@BOTH
def test_the_first_page_answers_a_person_in_a_hurry(paper: PaperName) -> None:
    first = read_pages(RICH, paper)[0]
    for words in (
        "released 108.0 kg, destroyed 8.0 kg", "version 3", "Released 6 Mar 2026 09:05 −05:00",
        "CCP1 Receiving adjust process 39.2 °F", "CCP2 Brining deviation 43.4 °F",
        "CCP3 Hot smoking within limits 41 min", "30 min at or above 145 °F", "release 112.0 kg, recall 8.0 kg",
        "Marit Oakhollow (MO), records reviewer", "also took readings of this lot", "The seal is",
        "Not judged by this version: lethality", "Replaces record 1",
    ):  # fmt: skip
        assert words in first, words


def test_a_lot_not_released_says_so_large() -> None:
    record = replace(RICH, release=ReleaseFacts(), lot=replace(RICH.lot, state="on hold"))
    large = [m for m in pages_of(record)[0].marks if isinstance(m, Text) and m.size >= 16]
    assert any(m.text == "NOT RELEASED: on hold" for m in large)


def test_a_lot_voided_says_so_and_why() -> None:
    record = replace(RICH, lot=replace(RICH.lot, voided="opened twice"))
    assert "VOID This lot was opened in error: opened twice" in read_pages(record)[0]


def test_a_lot_with_nothing_yet_still_prints() -> None:
    record = replace(
        RICH, release=ReleaseFacts(), verdicts=(), loads=(), readings=(), observations=(), series=(),
        results=(), instruments=(), deviations=(), signatures=(), people=(), unjudged=(),
    )  # fmt: skip
    first = read_pages(record)[0]
    assert (
        "Records: reviewed by nobody yet." in first and "CCP1 Receiving no such step yet" in first
    )


def test_the_verdicts_shapes_differ_without_colour() -> None:
    drawn = [tuple(map(repr, verdict_shape(verdict, 0, 0))) for verdict in VERDICTS]
    assert len(set(drawn)) == len(VERDICTS) == 4


def test_no_plan_is_taken_for_a_review() -> None:
    plan = RICH.plan.accepted[0]
    record = replace(RICH, signatures=(plan,))
    assert "Records: reviewed by nobody yet." in read_pages(record)[0]
    assert "Reviewed and signed" not in read_pages(record)[0]
    assert "Plan accepted for use by Marit Oakhollow (MO)" in section(record, "plan")


def test_entries_since_the_last_review_are_counted_on_the_first_page() -> None:
    assert "Entries since the last review, not reviewed yet: 3." in read_pages(RICH)[0]


def test_a_broken_limit_is_named_by_its_control_point_and_its_words() -> None:
    first = " ".join(read_pages(RICH)[:2])
    assert "D1 CCP2.2 Brining: Given brining over 4 h, the brining area" in first
    assert "D2 CCP1.1 Receiving: Fish at most 40 °F" in first


def test_each_final_decision_and_what_is_still_undecided_is_said() -> None:
    text = " ".join(read_pages(RICH)[:2])
    assert "release 112.0 kg, recall 8.0 kg, still undecided: 12.0 kg" in text
    assert "Still undecided: 12.0 kg." in section(RICH, "deviations")


def test_what_happened_to_a_deviation_later_is_told_with_its_moments() -> None:
    text = section(RICH, "deviations")
    assert (
        "5 Mar 2026 06:20 −05:00 (JW): broken again or further, last 5 Mar 2026 03:30 −05:00"
        in text
    )
    assert "5 Mar 2026 08:15 −05:00 (book): not reproduced from here on" in text


def test_both_ends_of_a_load_are_told_with_reason_and_acceptance() -> None:
    text = section(RICH, "loads")
    assert "End entered late, 5 Mar 2026 06:12 −05:00, by JW: asleep at the desk" in text
    assert "End corrected from 5 Mar 2026 02:00 −05:00 to 5 Mar 2026 03:00 −05:00 by JW" in text
    assert "Accepted 5 Mar 2026 17:42 −05:00 by MO: the tank’s own log agrees" in text


def test_an_observation_that_was_corrected_is_shown_above_its_correction() -> None:
    text = section(RICH, "observations")
    assert "Corrected by no. 3." in text and "Corrects no. 1: ticked the wrong box" in text
    assert text.index("Corrected by no. 3.") < text.index("Corrects no. 1:")


def test_a_first_page_that_runs_over_is_followed_at_once() -> None:
    many = tuple(replace(RICH.deviations[1], number=n) for n in range(1, 9))
    pages = pages_of(replace(RICH, deviations=many))
    second = [e.key for e in pages[1].entries]
    assert "charts" in second and any(
        key.startswith("front") for page in pages[:2] for key in [e.key for e in page.entries]
    )


# --- readings ---------------------------------------------------------------------------------


def test_a_correction_stands_right_below_what_it_corrected() -> None:
    late = tuple(
        replace(r, observed_at=at("5 Mar 20:00")) if r.number == 5 else r for r in RICH.readings
    )
    numbers = [one.number for one in in_order(late)]
    assert numbers == [1, 2, 3, 4, 5, 6, 7, 8, 9, 10]


def test_readings_that_name_each_other_in_a_ring_end() -> None:
    ring = (
        replace(RICH.readings[0], corrects=99, corrected_by=2),
        replace(RICH.readings[1], corrects=1, corrected_by=1),
    )
    assert [one.number for one in in_order(ring)] == [1, 2]


def test_a_series_is_printed_with_lowest_highest_and_count_of_each_minute() -> None:
    series = make_series("fish 1", "5 Mar 07:00", 3, lambda m: 40 + m)
    assert [(s.low, s.high, s.readings) for s in slots(series, MIN)] == [
        (series.ninths[0], series.ninths[1], 2),
        (series.ninths[2], series.ninths[3], 2),
        (series.ninths[4], series.ninths[5], 2),
    ]
    text = whole(replace(RICH, series=(series,)))
    assert "from lowest highest no." in text and "07:01 41.0 41.5 2" in text


def test_a_day_by_the_second_prints_by_the_minute_in_few_small_pages() -> None:
    series = make_series("fish 1", "4 Mar 00:00", 1440, lambda m: 40 + m / 100, step_ms=1000)
    assert series.count == 86_400
    data = render(replace(RICH, series=(series,)))
    with pikepdf.open(BytesIO(data)) as file:
        pages = len(file.pages)
    without = len(pages_of(replace(RICH, series=())))
    assert interval_of(series) == MIN
    assert pages - without <= 9


def test_a_month_by_the_minute_is_printed_by_a_longer_interval_and_says_so() -> None:
    series = make_series("", "1 Feb 00:00", 60 * 24 * 40, lambda m: -4 + m % 7 / 10, step_ms=60_000)
    assert interval_of(series) == 60 * MIN
    record = replace(RICH, series=(series,))
    assert "readings of each hour (by the minute it would fill too many pages)" in whole(record)
    assert sum(slot.readings for slot in slots(series, interval_of(series))) == series.count


def test_a_series_of_one_reading_an_interval_is_printed_with_each_readings_own_minute() -> None:
    series = make_series("", "1 Feb 00:07", 1600 * 10, lambda m: 20.5, step_ms=10 * MIN)
    record = replace(RICH, series=(series,))
    assert interval_of(series) == 15 * MIN
    few = replace(
        RICH, series=(make_series("", "1 Feb 00:07", 60, lambda m: 20.5, step_ms=10 * MIN),)
    )
    assert "Each reading, by the minute it was taken in" in whole(few)
    assert "00:07 20.5 00:17 20.5" in whole(few)
    assert "1,600 readings" in whole(record)


@BOTH
def test_the_number_of_an_entry_is_never_broken_over_two_lines(paper: PaperName) -> None:
    late = tuple(replace(one, number=one.number + 9_000_000) for one in RICH.readings)
    printed = {
        one.text
        for page in pages_of(replace(RICH, readings=late), paper)
        for one in page.marks
        if isinstance(one, Text)
    }
    assert printed >= {str(one.number) for one in late}
    shown = shown_in(RICH)
    assert any(shown.moment(late[0].observed_at) in text for text in printed)


def test_ten_thousand_readings_by_hand_are_all_printed() -> None:
    many = tuple(
        replace(RICH.readings[0], number=i, observed_at=RICH.readings[0].observed_at + i * MIN)
        for i in range(1, 10_001)
    )
    pages = pages_of(replace(RICH, readings=many))
    printed = {one.text for page in pages for one in page.marks if isinstance(one, Text)}
    assert printed >= {str(one.number) for one in many}


# --- the file ---------------------------------------------------------------------------------


def test_the_record_itself_is_attached() -> None:
    with pikepdf.open(BytesIO(render(RICH))) as file:
        attached = file.attachments[ATTACHMENT].get_file().read_bytes()
        assert str(file.docinfo["/Title"]) == "Record of lot T-0304-1"
        assert str(file.docinfo["/CreationDate"]).startswith("D:20260306091000-05")
        assert file.Root.Lang == "en-US"
    assert attached == canonical_bytes(RICH)


def test_each_section_has_a_bookmark(tmp_path: File) -> None:
    with pikepdf.open(BytesIO(render(RICH))) as file, file.open_outline() as outline:
        titles = [item.title for item in outline.root]
    assert titles[1:] or titles
    for _, title, _ in SECTIONS:
        assert any(title in one for one in titles), title


def test_sections_follow_one_another() -> None:
    numbers = [i for _, entry in entries() for i, (k, _, _) in enumerate(SECTIONS) if k == entry]
    assert all(a < b for a, b in pairwise(numbers)) and len(numbers) == len(SECTIONS)


def entries() -> Iterator[tuple[int, str]]:
    for number, page in enumerate(pages_of(RICH), 1):
        for entry in page.entries:
            yield number, entry.key
