"""The last sections: deviations in full, the plan, signatures, required items, how to read it all."""

from lots.core.record import (
    ActionFacts,
    ControlPoint,
    DeviationFacts,
    DispositionFacts,
    LotRecord,
)
from lots.pdf.faces import Own
from lots.pdf.layout import Column, Row, Shaped, Sheet, page_of
from lots.pdf.words import NONE, VERDICTS, Shown, sentence

MEANINGS = {
    "MET": "What was measured, on the conservative figure, meets the limit.",
    "ADJUST": "An operating limit was passed while the critical limit held: the process is adjusted "
    "before a deviation comes of it.",
    "PENDING": "The step is still running, or a laboratory’s result is awaited: the limit is neither "
    "shown to be met nor broken. It bars release.",
    "DEVIATION": "The critical limit was broken, or was not shown to be met by the end of the step. The "
    "fish stays on hold until a person decides.",
}
CAUTIONS = (
    "This record says what was measured against which limit. It does not say that fish is safe to eat.",
    "The limits are those of the plan. Where a process authority, a person trained in HACCP, or a local "
    "code says otherwise or more, that prevails.",
    "A reading is only as good as its instrument and as the place where the probe sat. Page {instruments} "
    "says when each instrument was last compared with a known standard.",
    "The reason for all this is Clostridium botulinum, which can grow in vacuum-packed smoked fish "
    "without smell or sign, and Listeria monocytogenes, which grows in the cold.",
)
REQUIRED = (
    (
        "name and location of the processor",
        "123.9(a)(1)",
        "first page, at the top; name at the head of each page",
    ),
    (
        "date and time of the activity that the record reflects",
        "123.9(a)(2)",
        "readings page {readings}, observations page {observations}, loads page {loads}, deviations "
        "page {deviations}: beside each entry",
    ),
    (
        "signature or initials of the person who did it",
        "123.9(a)(3)",
        "beside each entry; names page {people}; signatures page {signatures}",
    ),
    (
        "identity of the product and its production code",
        "123.9(a)(4)",
        "first page; lot code at the foot of each page",
    ),
    (
        "entered at the time that it was observed",
        "123.9(a)",
        "three moments of each reading: observed, entered on the device, heard by the server, page "
        "{readings}; a late entry says so and why",
    ),
)


def draw_deviations(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    """Deviations with evidence, action and disposition: what 21 CFR 123.7(d) wants documented."""
    if not record.deviations:
        sheet.text("None opened.")
    for one in record.deviations:
        sheet.heading(f"D{one.number}  {one.limit}", f"deviation {one.number}", 1, 90)
        _deviation(sheet, one, shown)


def _deviation(sheet: Sheet, one: DeviationFacts, shown: Shown) -> None:
    load = f"load {one.load}" if one.load else ""
    sheet.pairs([
        ("At", sentence(f"control point {one.control_point}", load, joint=", ")),
        ("Figure", f"{one.figure} ({VERDICTS[one.verdict]})"),
        ("The limit broke", shown.moment(one.broke_at)),
        ("Deviation opened", shown.moment(one.opened_at)),
        ("Evidence", one.evidence),
        ("Still reproduced", "yes" if one.reproduced else "no: the readings as they stand now no longer "
         "show it; it stays on record"),
    ])  # fmt: skip
    if not one.actions:
        sheet.pairs([("Corrective action", "none entered yet")])
    for action in one.actions:
        _action(sheet, action, shown)
    rows = [_disposition_row(d, shown) for d in one.dispositions]
    if not rows:
        sheet.pairs([("Disposition", "not yet decided")])
        return
    columns = [
        Column("Disposition", 15), Column("Quantity", 14), Column("Decided", 25.6), Column("By", 7.4),
        Column("Reason", 38),
    ]  # fmt: skip
    sheet.gap(3)
    sheet.table(columns, rows)


def _disposition_row(one: DispositionFacts, shown: Shown) -> Row:
    word = one.word if one.final else f"{one.word} (not final)"
    cells = (
        word,
        shown.weight(one.amount_g),
        shown.moment(one.decided_at),
        one.initials,
        one.reason,
    )
    return Row(cells, one.acceptability and f"Acceptability review: {one.acceptability}")


def _action(sheet: Sheet, one: ActionFacts, shown: Shown) -> None:
    sheet.gap(3)
    yes = "yes (123.7(b))"
    no = "no; the procedure of 123.7(c) was followed"
    sheet.pairs([("Plan’s written action followed", yes if one.plan_followed else no)])
    if not one.plan_followed:
        by_when = f"{one.reassessed_by or 'nobody named'}, by {shown.moment(one.reassess_by_at)}"
        sheet.pairs([
            ("Segregated and held", one.segregated or NONE),
            ("Acceptability to be reviewed by", sentence(one.acceptability_by, one.acceptability, joint=": ") or NONE),
            ("Plan to be reassessed by", by_when),
        ])  # fmt: skip
    sheet.pairs([
        ("What was done with the fish", one.fish or NONE),
        ("What restored control", one.restored or NONE),
        ("Cause", one.cause or NONE),
        ("Action taken", f"{shown.moment(one.taken_at)} by {one.initials}"),
    ])  # fmt: skip


def draw_plan(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    """The plan version, its control points and limits with their sources."""
    plan = record.plan
    sheet.pairs([
        ("Plan", f"{plan.title}, version {plan.version}"),
        ("Published", sentence(shown.moment(plan.published_at), plan.signed_by and f"signed by {plan.signed_by}", joint=", ")),
        ("Intended use", plan.intended_use),
        ("Pack", plan.pack),
        ("Storage", plan.storage),
        ("Shelf life", plan.shelf_life),
        ("Process study", plan.process_study or "none attached"),
    ])  # fmt: skip
    for point in record.control_points:
        _point(sheet, point)


def _point(sheet: Sheet, point: ControlPoint) -> None:
    sheet.heading(f"{point.id}  {point.name}", f"point {point.id}", 1, 100)
    watch = sentence(
        point.monitor_what,
        point.monitor_how,
        point.monitor_frequency,
        point.monitor_who,
        joint="; ",
    )
    sheet.pairs([
        ("Step, hazard", f"{point.step}: {point.hazard}"),
        ("Monitoring", watch),
        ("Corrective action", point.corrective_action),
    ])  # fmt: skip
    columns = [
        Column("", 9),
        Column("Critical limit", 33),
        Column("Operating limit", 22),
        Column("Source", 36),
    ]
    rows = [
        Row((limit.id, limit.sentence, limit.operating or NONE, f"{limit.source} ({limit.flag})"))
        for limit in point.limits
    ]
    sheet.gap(2)
    sheet.table(columns, rows)


def draw_signatures(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    """Who reviewed and signed, as 21 CFR 11.50 asks, and whose initials are whose."""
    if not record.signatures:
        sheet.text("Nobody has signed yet.")
    for one in record.signatures:
        sheet.need(90)
        training = sentence(
            one.course,
            one.course_date,
            one.certificate and f"certificate {one.certificate}",
            joint=", ",
        )
        sheet.pairs([
            ("Printed name", f"{one.printed_name} ({one.initials})"),
            ("Signed", shown.moment(one.signed_at)),
            ("Meaning", one.meaning),
            ("What was signed", one.signed),
            ("Right held", one.right),
            ("Training", training or "none on record"),
            ("Note", one.note),
        ])  # fmt: skip
        sheet.gap(2)
        sheet.rule(0.25, 0.7)
        sheet.gap(6)


def draw_people(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    """Whose initials are whose."""
    columns = [Column("Initials", 15), Column("Printed name", 85)]
    rows = [Row((one.initials, one.printed_name)) for one in record.people]
    sheet.table(columns, rows)


def draw_required(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    """Where each item that 21 CFR 123.9(a) asks of a record stands."""
    pages = {
        key: page_of(key)
        for key in ("readings", "observations", "loads", "deviations", "people", "signatures")
    }
    columns = [
        Column("Asked of every record", 33),
        Column("Source", 21),
        Column("Where it stands", 46),
    ]
    rows = [
        Row((item, f"21 CFR {rule}", Own(where.format(**pages)))) for item, rule, where in REQUIRED
    ]
    sheet.table(columns, rows)


def draw_reading_it(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    """Glossary of the verdicts, cautions, and what the record rests on."""
    columns = [Column("Verdict", 22), Column("What it means", 78)]
    sheet.table(columns, [Row((Shaped(v, VERDICTS[v]), MEANINGS[v])) for v in VERDICTS])
    sheet.gap(4)
    for caution in CAUTIONS:
        sheet.text(Own(caution.format(instruments=page_of("instruments"))))
        sheet.gap(3)
    sheet.gap(3)
    zone = record.establishment.zone
    sheet.pairs([
        ("Times", f"on the clock of {zone}; the figure after each is its distance from UTC"),
        ("Book", f"this record rests on the book up to line {record.book.line}, digest {record.book.digest}"),
        ("Attached", "lot-record.json: this record as canonical JSON (RFC 8785), with every reading"),
    ])  # fmt: skip
