"""Serve the record form, and put the visit into the book."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Final, NamedTuple

from flask import Flask, Response, jsonify, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from kb.base.errors import NOTHING, BadInput, BookTrouble, NotFound, PerhapsSaved
from kb.base.messages import Said, worded
from kb.base.parsing import json_of
from kb.book.photos import MOST, MOST_SPOTS, Spot
from kb.domain import marking
from kb.domain.panel import reconcile
from kb.domain.visit import Visit, visit_from
from kb.domain.words import Basis, Direction, Display, Form, Format, Kind, Level, Outcome, Signal, Speakers
from kb.read.limits import PHOTO_BYTES
from kb.read.picture import missing_library
from kb.web.guards import wants_json
from kb.web.jobs import job_asked, met, open_job
from kb.web.pages import photo_to_read, photos_of
from kb.web.site import language, page, said_of, site
from kb.web.visit_form import CARRIED, JACK_OTHERS, OTHERS, Entry, field_of, new_id, place_of

if TYPE_CHECKING:
    from kb.domain.panel import PanelJack
    from kb.store import Entry as Recorded

#: Jacks with their usual marks (``marks`` of ``Form``), those that loops use first; common practice.
OFTEN: Final = tuple(
    (form, form.marks[number])
    for form, number in (
        (Form.TOSLINK, 0),
        (Form.TOSLINK, 1),
        (Form.JACK_35, 0),
        (Form.RCA_PAIR, 0),
        (Form.RCA_SINGLE, 1),
        (Form.HDMI, 0),
        (Form.HDMI, 1),
        (Form.HDMI, 3),
    )
)
_WORDS = {
    "kinds": Kind,
    "displays": Display,
    "bases": Basis,
    "directions": Direction,
    "outcomes": Outcome,
    "speakers": Speakers,
    "signals": Signal,
    "levels": Level,
    "formats": Format,
}
_YEAR = 4  # digits


def add(app: Flask) -> None:
    """Put these pages into ``app``."""
    app.add_url_rule("/record", "record", record)
    app.add_url_rule("/record", "record_visit", record_visit, methods=["POST"])
    app.add_url_rule("/read", "read_jacks", read_jacks, methods=["POST"])
    app.add_url_rule("/panel", "read_panel", read_panel, methods=["POST"])
    app.add_url_rule("/recorded", "recorded", recorded)
    app.add_url_rule("/withdraw", "withdraw", withdraw, methods=["POST"])
    app.add_url_rule("/photo", "photo", photo)
    app.add_url_rule("/photo", "add_photo", add_photo, methods=["POST"])


# -- the form ------------------------------------------------------------------------------------------


def record() -> AnyResponse:
    """An empty form, one for a set that is named, or one that corrects a visit."""
    if corrected := request.args.get("correct"):
        old = _visit(corrected)
        with site().book.store.snapshot() as now:
            if (as_recorded := now.entry(old.id)).superseded_by:  # another phone has corrected it since
                old = now.in_force(as_recorded).visit
            every = now.to_supersede(old.id)
        return _form(Entry.of(old, every), fresh=True)
    settings = site().book.settings
    make, model = request.args.get("make", "")[:80], request.args.get("model", "")[:80]
    entry = Entry.new(make, model, by=settings.initials)
    if job := job_asked(request.args):
        said = {"job": job.name, "kind": job.source.kind, "display": job.source.display or ""}
        entry.visit |= {key: str(value) for key, value in said.items() if value}
        if job.source.year:
            entry.visit["year"] = str(job.source.year)
        if job.source.size_in:
            entry.visit["size_in"] = f"{job.source.size_in:g}"
    year = request.args.get("year", "")
    if len(year) == _YEAR and year.isascii() and year.isdigit():
        entry.visit["year"] = year
    if "all" in request.args:  # the set looks as the book has it
        for one in _known(entry):
            entry.add(one.form.value, one.marking)
    return _form(entry, fresh=True)


def _form(
    entry: Entry, code: int = 200, said: str = "", field: str = "", focus: str = "", fresh: bool = False
) -> Response:
    """The form as ``entry`` says; ``fresh``: nobody has typed into it yet, so a phone may make its id."""
    known = _known(entry)
    return page(
        "record",
        code,
        entry=entry,
        read=entry.read_so_far(language()),
        in_only=entry.in_only(),
        said=said,
        field=field,
        focus=focus,
        fresh=fresh,
        tapped=list(Form),
        marks={form.value: form.marks for form in Form},
        known=known,
        often=OFTEN,
        as_known={f"{one.form.value}:{one.marking}": one.speakers.value for one in known if one.speakers},
        carried=CARRIED,
        others=OTHERS,
        jack_others=JACK_OTHERS,
        most_photos=MOST,
        most_bytes=PHOTO_BYTES,
        label=_label,
        job_id=_job_id(),
        about=_about_form(entry),
        panel_reader_missing=missing_library(),
        **_WORDS,
    )


def _job_id() -> str:
    """The job of today that the form is for, as its address or the form itself says."""
    return (request.form.get("job_id") or request.args.get("job", ""))[:60]


def _about_form(entry: Entry) -> dict[str, str]:
    named = {key: entry.visit.get(key, "") for key in ("make", "model")} | {"job": _job_id()}
    return {key: value for key, value in named.items() if value}


def _label(form: str) -> Form:
    try:
        return Form(form)
    except ValueError:
        return Form.OTHER


class Known(NamedTuple):
    """A jack that the book knows of a set; ``speakers`` if it is an output and visits told what they did."""

    form: Form
    marking: str
    speakers: Speakers | None


def _known(entry: Entry) -> list[Known]:
    """The jacks that the book knows of this set, to be tapped onto the panel."""
    make, model = entry.visit.get("make", ""), entry.visit.get("model", "")
    if not (make and model) or entry.supersedes:
        return []
    book = site().book
    jacks = reconcile(book.visits(make, model)).jacks
    return [Known(one.jack.form, one.jack.marking, _speakers(one)) for one in jacks]


def _speakers(one: PanelJack) -> Speakers | None:
    """What the speakers do while this output is used, if visits said so."""
    heard = one.jack.usable and one.speakers is not Speakers.UNKNOWN
    return one.speakers if heard else None


def stale() -> AnyResponse:
    """The page was made for another pairing: the same form with everything in it, and a token that holds."""
    entry = Entry.read(request.form, _photo_names())
    return _form(
        entry,
        409,
        language()("web/record/stale"),
    )


# -- saving --------------------------------------------------------------------------------------------


def record_visit() -> AnyResponse:
    """Save, or add, or take away a jack; a script of ours gets JSON, a person the next page."""
    entry, say = Entry.read(request.form, _photo_names()), language()
    try:
        left_out = _keep_photos(entry)
    except BookTrouble as trouble:
        return _again(entry, trouble, say("web/record/nothing-saved"))
    do = request.form.get("do", "save")
    if do != "save":
        return _changed(entry, do, left_out)
    try:
        visit = _with_the_rest(visit_from(entry.data(), "visit"))
        done = site().books.record([visit])
    except BadInput as wrong:
        return _wrong(entry, wrong)
    except BookTrouble as trouble:
        saved = "" if isinstance(trouble, PerhapsSaved) else say("web/record/nothing-saved")
        return _again(entry, trouble, saved)
    visit_id = done.first_id
    again = int(bool(done.reinstated)) or None
    job = _job_id() or None
    try:
        met(_job_id(), visit.source)
        own = site().photos.attach(visit_id, entry.photos)
        for name, spots in _spots(entry).items():
            site().photos.point(visit_id, name, spots)
    except BookTrouble as trouble:
        return _again(entry, trouble, say("web/record/but-saved"))
    # Kept with an earlier page of the form, a day ago or more; or one more than a visit has.
    full = len(site().photos.of(visit_id)) >= MOST
    left_out += [
        LeftOut("over" if full else "gone", number)
        for number, name in enumerate(entry.photos, 1)
        if name not in own
    ]
    left = ".".join(f"{one.why}-{one.number}" for one in left_out[:_TOLD]) or None
    following = url_for("recorded", visit=visit_id, left=left, again=again, job=job)
    if wants_json(request):
        said = [one.words for one in left_out]
        return jsonify({"visit": visit_id, "already": not done.recorded, "left_out": said, "next": following})
    return redirect(following, 303)


_TOLD: Final = 30  # photos left out that the next page tells of


class LeftOut(NamedTuple):
    """A photo that was not kept, by its number in the form: ``gone``, one ``over``, or of another ``kind``.

    ``about``: what is wrong with it, in words.
    """

    why: str
    number: int
    about: str = ""

    @property
    def words(self) -> str:
        """What the person is told of it."""
        if self.about:
            return f"{self.about}. {language()('web/record/photo-wrong')}"
        return language()(f"web/record/photo-{self.why}", number=self.number, most=MOST)


def _left_out_said(codes: str) -> list[str]:
    """What is told on the next page of the photos that were left out, which its address names."""
    found = [re.fullmatch(r"(gone|over|kind)-([1-9]\d?)", one) for one in codes.split(".")[:_TOLD]]
    return [LeftOut(one[1], int(one[2])).words for one in found if one]


def _again(entry: Entry, trouble: BookTrouble, saved: str) -> Response:
    """The form as it was typed, to be sent again: an id that is in the book already adds nothing.

    ``saved`` says whether the visit is. A script of ours gets the trouble alone, and tries again by itself.
    """
    if wants_json(request):
        raise trouble
    what = worded(trouble.without_assurance(), language().code)  # whether anything was changed is said here
    return _form(entry, 503, " ".join(filter(None, [f"{what}.", saved, language()("web/record/again")])))


def _with_the_rest(visit: Visit) -> Visit:
    """A correction with what the form does not show of the visit that it corrects, so that it is not lost."""
    if not visit.supersedes:
        return visit
    try:
        old = _visit(visit.supersedes[0])
    except NotFound:
        return visit
    return replace(visit, readings=old.readings, case=old.case)


def _changed(entry: Entry, do: str, left_out: list[LeftOut]) -> AnyResponse:
    """One tap where no script runs: ``add:FORM:MARK``, ``drop:NUMBER``, or ``read``."""
    what, _, about = do.partition(":")
    focus = ""
    if what == "add":
        form, _, mark = about.partition(":")
        entry.add(Form.read(form, "jack, form").value, mark)
        focus = f"jack-{len(entry.jacks) - 1}-marking"
    elif what == "drop" and about.isdecimal() and len(about) < 4:
        entry.drop(int(about))
    return _form(entry, said=" ".join(one.words for one in left_out), focus=focus)


def _wrong(entry: Entry, wrong: BadInput) -> AnyResponse:
    """The form as it was, with what is wrong and where; an id that is taken becomes a correction."""
    if wrong.expected == Said("expected/new-id"):
        said = language()("web/record/taken-id")
        if wants_json(request):
            return _refusal(409, said)
        entry.supersedes, entry.id = entry.id, new_id()
        return _form(entry, 409, said)
    field = field_of(wrong.place, entry)
    said = said_of(BadInput(place_of(field) or wrong.place, wrong.seen, wrong.expected))
    if wants_json(request):
        return _refusal(422, said)
    return _form(entry, 422, said, field)


def _refusal(code: int, said: str) -> AnyResponse:
    answer = jsonify({"error": said, "correct": code == 409})
    answer.status_code = code
    return answer


def read_jacks() -> AnyResponse:
    """What the panel reader makes of the jacks so far: one sentence for each, and which give no sound out."""
    entry = Entry.read(request.form)
    return jsonify({"read": entry.read_so_far(language()), "in_only": entry.in_only()})


def read_panel() -> AnyResponse:
    """What the panel on a photo shows, as a draft that the form takes in; nothing of it is kept."""
    from kb.read.panel import differences, look

    say = language()
    kind = Kind.meant(request.form.get("kind", "")) or Kind.TELEVISION
    with photo_to_read(Said("expected/web/panel-photo")) as sent:
        draft = look(sent, Said("web/record/photo"), kind)
    make, model = (request.form.get(name, "").strip()[:80] for name in ("make", "model"))
    book = site().book
    known = reconcile(book.visits(make, model)).jacks if make and model else ()
    differs = differences(draft.jacks, [one.jack for one in known]) if known else []
    jacks = [
        {
            "form": one.form.value,
            "marking": one.marking,
            "x": one.x,
            "y": one.y,
            "why": "; ".join(say(f"read/doubt/{doubt}") for doubt in one.doubts),
        }
        for one in draft.jacks
    ]
    told = []
    for one in differs:
        missing = one.known if one.seen is None else None
        about = {"form": missing.form.value, "marking": missing.marking} if missing else {}
        told.append({"text": one.said(say), **about})
    hints = [say(f"read/photo/{flaw}") for flaw in draft.flaws]
    return jsonify({"jacks": jacks, "hints": hints, "differs": told})


# -- photos --------------------------------------------------------------------------------------------


def _photo_names() -> list[str]:
    return request.form.getlist("photo_kept")[:MOST]


def _keep_photos(entry: Entry) -> list[LeftOut]:
    """Keep the photos that came along; returns those that are none. A bad photo holds up no visit."""
    left_out = []
    sent = [file for file in request.files.getlist("photo") if file.filename or file.content_length]
    for number, file in enumerate(sent, 1):
        entry.sent.append("")
        if len(entry.photos) >= MOST:
            left_out.append(LeftOut("over", number))
            continue
        try:
            place = Said("web/record/photo-nth", number=number)
            name = site().photos.keep(file.stream.read(PHOTO_BYTES + 1), place)
        except BadInput as wrong:
            left_out.append(LeftOut("kind", number, said_of(wrong)))
            continue
        entry.sent[-1] = name
        if name not in entry.photos:
            entry.photos.append(name)
    return left_out


def _spots(entry: Entry) -> dict[str, list[Spot]]:
    """Where the form says that jacks are on its photos, by name of the photo.

    What makes no sense is left out, since it must not hold up a visit.
    """
    found: dict[str, list[Spot]] = {}
    try:
        said = json_of(request.form.get("spots", "")[:_MOST_SPOTS_TEXT] or "[]", "spots")
        for one in said[: MOST * MOST_SPOTS]:
            x, y, photo, jack = float(one["x"]), float(one["y"]), int(one["photo"]), int(one["jack"])
            form = request.form.get(f"jack-{jack}-form", "")
            if form and 0 <= x <= 1 and 0 <= y <= 1 and 0 <= photo < len(entry.sent):
                mark = request.form.get(f"jack-{jack}-marking", "").strip()[:80]
                mark = mark or language().word(_label(form))
                found.setdefault(entry.sent[photo], []).append(Spot(x, y, mark))
    except (BadInput, ValueError, TypeError, KeyError, OverflowError):
        return {}
    return found


_MOST_SPOTS_TEXT: Final = 32_768


def photo() -> AnyResponse:
    """A photo of a visit."""
    content = site().photos.read(request.args.get("visit", "")[:40], request.args.get("name", "")[:64])
    answer = Response(content, mimetype="image/jpeg")
    answer.headers["Content-Disposition"] = "inline; filename=panel.jpg"
    return answer


def add_photo() -> AnyResponse:
    """One more photo for a visit that is in the book."""
    visit = _visit(request.form.get("visit", ""))
    entry = Entry(photos=[])
    left_out = _keep_photos(entry)
    if not entry.photos and not left_out:
        raise BadInput(Said("web/record/photo"), NOTHING, Said("expected/photo-formats"))
    if left_out:
        raise BadInput(" ".join(one.words for one in left_out))
    if not site().photos.attach(visit.id, entry.photos):
        most = Said("expected/web/photos-of-visit", most=MOST)
        raise BadInput(Said("web/record/photo"), Said("seen/web/photos", count=MOST), most)
    return redirect(url_for("recorded", visit=visit.id, job=_job_id() or None), 303)


# -- saved ---------------------------------------------------------------------------------------------


def recorded() -> AnyResponse:
    """What was recorded, what the panel reader made of it, and what comes next."""
    visit = _visit(request.args.get("visit", ""))
    with site().book.store.snapshot() as now:
        entry = now.entry(visit.id)
        counts = now.in_force(entry)
    state = _state(entry, counts)
    in_its_place = (counts.visit.id,) if counts.stands and counts.visit.id != visit.id else ()
    jacks, say = [], language()
    for finding in visit.findings:
        jack = finding.jack
        words = [say.word(jack.direction), *([say.word(jack.signal)] if jack.signal else [])]
        said = say("language/join").join(words)
        why = marking.read(jack.form, jack.marking, jack.colour).why(say) if finding.inferred else ""
        jacks.append((finding, said, why))
    about = {"make": visit.source.make, "model": visit.source.model}
    if job := request.args.get("job", "")[:60]:
        about["job"] = job
    return page(
        "recorded",
        visit=visit,
        jacks=jacks,
        photos=photos_of(visit),
        left=_left_out_said(request.args.get("left", "")),
        again="again" in request.args,
        about=about,
        state=state,
        look_at=entry.rivals if state == "rival" else in_its_place,
        open_job=open_job(job),
    )


def _state(entry: Recorded, counts: Recorded) -> str:
    """What became of a visit since it was recorded, in a word of the page; "" if it simply counts."""
    if entry.withdrawn:
        return "withdrawn"
    if entry.taken_back:
        return "taken-back"
    if counts.reentered == entry.visit.id:  # the very same visit, under the id that it is shared with
        return ""
    if entry.superseded_by:
        return "corrected"
    return "outdone" if entry.outdone else "rival" if entry.rivals else ""


def withdraw() -> AnyResponse:
    """Take a visit back, or with ``undo`` let it count again. It stays in the history."""
    visit = _visit(request.form.get("visit", ""))
    if "undo" in request.form:
        site().books.change(lambda store: store.reinstate([visit.id]))
    else:
        site().books.change(lambda store: store.withdraw([visit.id]))
    return redirect(url_for("recorded", visit=visit.id, job=_job_id() or None), 303)


def _visit(visit_id: str) -> Visit:
    from kb.domain.visit import read_id

    try:
        wanted = read_id(visit_id, "visit")
        return site().book.store_to_write().visit(wanted)  # a first phone on a new book asks as well
    except (BadInput, NotFound):
        raise NotFound(Said("web/trouble/no-visit")) from None
