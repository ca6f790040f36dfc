"""The last sections: deviations in full, the plan, signatures, required items, how to read it all."""

from lots.core.record import (
    ActionFacts,
    Consignee,
    ControlPoint,
    DeviationFacts,
    DispositionFacts,
    LotRecord,
    NoteFacts,
    Signature,
)
from lots.pdf.faces import Own
from lots.pdf.layout import Column, Row, Shaped, Sheet, page_of
from lots.pdf.words import NONE, VERDICTS, Shown, day_of, limit_number, point_name, sentence

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
    "“(PIN)” beside initials means that the entry was initialled with a short number on a tablet that several "
    "people share: initials, and nothing more. Signatures are made with the full password.",
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
        number = limit_number(record, one.control_point, one.limit)
        title = sentence(
            f"D{one.number}", number, point_name(record, one.control_point), joint="  "
        )
        sheet.heading(title, f"deviation {one.number}", 1, 90)
        _deviation(sheet, one, shown)


def _deviation(sheet: Sheet, one: DeviationFacts, shown: Shown) -> None:
    load = f"load {one.load}" if one.load else ""
    of_lot = f"opened on lot {one.lot}, whose fish came into this one" if one.lot else ""
    sheet.pairs([
        ("Limit", one.bound),
        ("At", sentence(f"control point {one.control_point}", load, of_lot, joint=", ")),
        ("Figure", f"{one.figure} ({VERDICTS[one.verdict]})"),
        ("The limit broke", shown.moment(one.broke_at)),
        ("Deviation opened", shown.moment(one.opened_at)),
        ("Evidence when opened", one.evidence),
        *(("Since then", _note(note, shown)) for note in one.notes),
        ("Still reproduced", "yes" if one.reproduced else "no: the readings as they stand now no longer "
         "show it; it stays on record"),
    ])  # fmt: skip
    if not one.actions:
        sheet.pairs([("Corrective action", "none entered yet")])
    for action in one.actions:
        _action(sheet, action, shown)
    _dispositions(sheet, one, shown)


def _note(note: NoteFacts, shown: Shown) -> str:
    if note.kind == "extended":
        said = f"broken again or further, last {shown.moment(note.last_broke_at)}"
    else:
        said = f"{note.kind} from here on"
    figure = sentence(note.figure, note.why, joint="; ")
    return sentence(f"{shown.moment(note.at)} ({note.initials}): {said}", figure, joint=": ")


def _dispositions(sheet: Sheet, one: DeviationFacts, shown: Shown) -> None:
    if not one.dispositions:
        sheet.pairs([("Disposition", f"not yet decided: {undecided(one, shown)}")])
        return
    columns = [
        Column("Disposition", 15), Column("Quantity", 14), Column("Decided", 25.6), Column("By", 7.4),
        Column("Reason", 38),
    ]  # fmt: skip
    sheet.gap(3)
    sheet.table(columns, [_disposition_row(d, shown) for d in one.dispositions])
    if one.undecided_g:
        sheet.text(f"Still undecided: {shown.weight(one.undecided_g)}.", "Bold")


def undecided(one: DeviationFacts, shown: Shown) -> str:
    """How much fish no final disposition speaks of."""
    return shown.weight(one.undecided_g) if one.undecided_g else "no weight named"


def _disposition_row(one: DispositionFacts, shown: Shown) -> Row:
    word = one.word if one.final else f"{one.word} (not final)"
    cells = (
        word,
        shown.weight(one.amount_g),
        shown.moment(one.decided_at),
        one.initials,
        one.reason,
    )
    reviewed = one.acceptability and f"Acceptability review: {one.acceptability}"
    told = (_told(who, shown) for who in one.consignees)
    return Row(cells, "\n".join(filter(None, [reviewed, *told])))


def _told(who: Consignee, shown: Shown) -> str:
    """A consignee of fish that is recalled, and whether they know."""
    when = f"told {shown.moment(who.told_at)}" if who.told_at else "NOT TOLD YET"
    words = f"Consignee: {who.name}, {shown.weight(who.amount_g)}, {when} ({who.initials})"
    return sentence(words, who.note, joint="; ")


def _action(sheet: Sheet, one: ActionFacts, shown: Shown) -> None:
    sheet.gap(3)
    yes = "yes (123.7(b))"
    no = "no; the procedure of 123.7(c) was followed"
    sheet.pairs([("Plan’s written action followed", yes if one.plan_followed else no)])
    if not one.plan_followed:
        by_when = sentence(
            one.reassessed_by or "nobody named",
            one.reassess_by and f"by {day_of(one.reassess_by)}",
            joint=", ",
        )
        sheet.pairs([
            ("Segregated and held", one.segregated or NONE),
            ("Acceptability to be reviewed by", one.acceptability_by or "nobody named"),
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
        ("Published", shown.moment(plan.published_at)),
        ("Intended use", plan.intended_use),
        ("Pack", plan.pack),
        ("Storage", plan.storage),
        ("Shelf life", plan.shelf_life),
        ("Process study", plan.process_study or "none attached"),
    ])  # fmt: skip
    for one in plan.accepted:
        sheet.pairs([("Plan accepted for use by", _accepted_for_use(one, shown))])
    for point in record.control_points:
        _point(sheet, point)


def _accepted_for_use(one: Signature, shown: Shown) -> str:
    words = f"{one.printed_name} ({one.initials}), {one.right}, {shown.moment(one.signed_at)}"
    return sentence(words, f"“{one.meaning}”", _training(one), one.note, joint="; ")


def _training(one: Signature) -> str:
    return sentence(
        one.course,
        day_of(one.course_date),
        one.certificate and f"certificate {one.certificate}",
        joint=", ",
    )


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
        Column("", 11),
        Column("Critical limit", 31),
        Column("Operating limit", 22),
        Column("Source", 36),
    ]
    rows = [
        Row((f"{point.id}.{number}", limit.sentence, limit.operating or NONE,
             f"{limit.source} ({limit.flag})"))
        for number, limit in enumerate(point.limits, 1)
    ]  # fmt: skip
    sheet.gap(2)
    sheet.table(columns, rows)


def draw_signatures(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    """Who reviewed and signed, as 21 CFR 11.50 asks, and whose initials are whose."""
    if all(one.kind == "plan" for one in record.signatures):
        sheet.text("Nobody has reviewed these records yet.")
    for one in record.signatures:
        sheet.need(90)
        sheet.pairs([
            ("Printed name", f"{one.printed_name} ({one.initials})"),
            ("Signed", shown.moment(one.signed_at)),
            ("Meaning", one.meaning),
            ("What was signed", one.signed),
            ("Right held", one.right),
            ("Training", _training(one) or "none on record"),
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
    number = f"“{record.control_points[0].id}.1”" if record.control_points else "Such a number"
    sheet.pairs([
        ("Numbers", f"{number} is the first limit of that control point, in full among the plan’s limits"),
        ("Times", f"on the clock of {zone}; the figure after each is its distance from UTC"),
        ("Book", f"this record rests on the book up to line {record.book.line}, digest {record.book.digest}"),
        ("Attached", "lot-record.json: this record as canonical JSON (RFC 8785), with every reading, every "
         "limit and all else that a verdict was computed from, so that anybody can compute it again; "
         "readings.csv: every reading for a spreadsheet"),
    ])  # fmt: skip
