"""Perform the recipes for a connector, a driver's input, an item and a fault in a copy."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from kb.book import Book
from kb.domain.visit import visit_from
from tests.recipes.copies import Copy

OLD = {
    "date": "2026-03-04",
    "source": {"make": "Norwell", "model": "NV40-210"},
    "jacks": [{"form": "toslink", "marking": "OPTICAL OUT"}],
}
FORM = """\
    "wedge": {
      "label": "wedge socket",
      "names": {"es": "toma de cuña"},
      "carries": ["analog-line"],
      "short": [{"name": "wedge", "signal": "analog-line"}],
      "also": ["three-cornered socket"],
      "marks": ["WEDGE OUT"],
      "sign": "◭",
      "asked": {"en": "Is there a three-cornered socket?"}
    },
"""
DRAWING = """\
  <symbol id="wedge"><path d="M24 6L44 42H4z" fill="#ffffff" stroke="#1a1a1a" stroke-width="3"/></symbol>
"""
INPUT = """\
    "line-wedge": {
      "label": "wedge line input",
      "names": {"es": "entrada de línea de cuña"},
      "socket": "wedge",
      "takes": ["line"],
      "also": ["wedge line"],
      "source": "an invented example"
    },
"""
ITEM = """
[[item]]
name = "wedge cable {n} m"
names = { es = "cable de cuña de {n} m" }
what = "a three-cornered plug at each end"
role = "cable"
lengths_m = [1, 2]
usual_m = 2
near = [{ form = "wedge", part = "plug", takes = ["line"] }]
far = [{ form = "wedge", part = "plug" }]
cost = 20
cost_per_m = 2
source = "an invented example"
"""
ADAPTER = """
[[item]]
name = "SCART to 3.5 mm lead"
names = { es = "cable SCART a 3,5 mm" }
what = "a SCART plug and a 3.5 mm plug on one lead"
role = "cable"
length_m = 2
near = [{ form = "scart", part = "plug", takes = ["line"] }]
far = [{ form = "jack-3.5", part = "plug" }]
cost = 15
source = "an invented example"
"""
FAULT = """
[[fault]]
id = "spider"
side = "source"
says = "a spider sits in the optical socket"
mend = "Brush it out and put the plug in."
needs = ["optical"]
prior = { no-sound = 30 }
source = "an invented example"

[[test]]
id = "spider-look"
asks = "Is a spider to be seen in the socket?"
how = "Pull the plug and look into the socket with a torch."
minutes = 0.2
needs = ["optical"]
source = "an invented example"
[test.answers]
yes = "there it sits"
no = "nothing there"
[[test.given]]
complaints = ["no-sound"]
otherwise = [0.01, 0.99]
faults = { spider = [0.99, 0.01] }
"""
#: The phone page of the copy: the record form as somebody with a paired phone sees it.
PHONE = """
import sys
from pathlib import Path
from kb.web.app import make_app
codes = []
app = make_app(Path(sys.argv[1]), tell=codes.append)
phone = app.test_client()
phone.get("/pair")
assert phone.post("/pair", data={"form_token": "", "code": codes[-1]}).status_code == 303
print(phone.get("/record").text)
print(phone.get("/today").text)
app.extensions["jackfield"].books.close()
"""


@pytest.fixture
def copy(tmp_path: Path) -> Copy:
    """A copy of the project beside a book that was written before anything was changed."""
    made = Copy.made(tmp_path)
    with Book.open(made.home) as book:
        book.record([visit_from(OLD)])
    return made


def name_form(copy: Copy) -> None:
    copy.edit("data/connectors.json", r'^  "forms": \{\n', FORM)
    copy.edit("kb/domain/words.py", r'^    ANTENNA = "antenna"\n', '    WEDGE = "wedge"\n')


def add_form(copy: Copy) -> None:
    name_form(copy)
    copy.edit("data/jacks.svg", r"^<svg .*\n", DRAWING)


def test_a_form_added_by_the_recipe_is_known_everywhere(copy: Copy, tmp_path: Path) -> None:
    pytest.importorskip("flask", reason="the extra jackfield[web] is not installed")
    add_form(copy)
    copy.edit("data/connectors.json", r'^  "inputs": \{\n', INPUT)
    copy.edit("kb/domain/words.py", r'^    MIC = "mic"\n', '    LINE_WEDGE = "line-wedge"\n')
    copy.edit("data/items.toml", r"\Z", ITEM)

    copy.jackfield("record", "Norwell", "NV40-210", "wedge=WEDGE OUT:ok", "opt=OPTICAL OUT")
    table = tmp_path / "old notes.csv"
    table.write_text(
        "make,model,date,socket,mark,result,inputs\n"
        "Hallmere,HM32-5,2026-03-05,Three-cornered socket,LINE OUT,carried,wedge line\n",
        "utf-8",
    )
    copy.jackfield("load", str(table))

    [jack] = [one for one in copy.json("show", "Norwell", "NV40-210")["panel"] if one["form"] == "wedge"]
    assert (jack["direction"], jack["signal"]) == ("output", "analog-line")
    [jack] = copy.json("show", "Hallmere", "HM32-5")["panel"]
    assert (jack["form"], jack["direction"]) == ("wedge", "output")
    assert "◭" in copy.jackfield("show", "Norwell", "NV40-210")

    answer = copy.json("path", "Norwell", "NV40-210", "--inputs", "line-wedge")
    assert "wedge cable 2 m" in json.dumps(answer)
    page = tmp_path / "sheet.html"
    copy.jackfield(
        "sheet", "Norwell", "NV40-210", "--inputs", "line-wedge", "--lang", "es", "--out", str(page)
    )
    client = page.read_text("utf-8")
    assert "M24 6L44 42H4z" in client, "the drawing of the panel"
    assert "cable de cuña de 2 m" in client
    assert "toma de cuña rotulada WEDGE OUT" in client

    phone = copy.said(PHONE, str(copy.home))
    assert 'value="add:wedge"' in phone, "a form to tap"
    assert '<option value="WEDGE OUT">' in phone, "a mark to choose"
    assert "M24 6L44 42H4z" in phone
    assert "wedge line input" in phone, "an input of the driver of today's jobs"

    copy.jackfield("doctor")  # compares every table with that of a fresh book
    copy.passes(
        "tests/sheet/test_languages.py::test_every_word_has_a_name",
        "tests/sheet/test_languages.py::test_every_item_of_the_catalogue_has_a_name",
        "tests/domain/test_forms.py",
        "tests/sheet/test_drawings.py::test_every_form_has_a_sign_of_its_own",
    )


def test_a_form_without_a_drawing_is_a_dashed_box_and_a_test_asks_for_one(copy: Copy, tmp_path: Path) -> None:
    name_form(copy)
    copy.jackfield("record", "Norwell", "NV40-210", "wedge=WEDGE OUT:ok")
    page = tmp_path / "sheet.html"
    copy.jackfield("sheet", "Norwell", "NV40-210", "--inputs", "mic", "--out", str(page))
    assert "stroke-dasharray" in page.read_text("utf-8")
    done = copy.run(
        "-m", "pytest", "-q", "-p", "no:cacheprovider",
        "tests/sheet/test_drawings.py::test_every_form_has_a_sign_of_its_own",
    )  # fmt: skip
    assert done.returncode == 1


def test_a_program_without_the_form_says_that_the_book_is_newer(copy: Copy) -> None:
    add_form(copy)
    copy.jackfield("record", "Norwell", "NV40-210", "wedge=WEDGE OUT:ok")
    from kb.base.errors import BookTooNew

    with (
        Book.open(copy.home) as book,
        pytest.raises(BookTooNew, match=r"connector 'wedge'.*update it"),
    ):
        book.visits("Norwell", "NV40-210")


def test_an_item_added_by_the_recipe_is_carried_and_said(copy: Copy, tmp_path: Path) -> None:
    copy.edit("data/items.toml", r"\Z", ADAPTER)
    copy.jackfield("record", "Norwell", "NV40-210", "scart=EXT 1:ok")
    answer = copy.json("path", "Norwell", "NV40-210", "--inputs", "line-3.5")
    assert '"SCART to 3.5 mm lead"' in json.dumps(answer)
    page = tmp_path / "sheet.html"
    copy.jackfield("sheet", "Norwell", "NV40-210", "--inputs", "line-3.5", "--lang", "es", "--out", str(page))
    assert "cable SCART a 3,5 mm" in page.read_text("utf-8")
    packed = copy.json("pack", "Norwell", "NV40-210", "--inputs", "line-3.5", code=(0, 1))
    assert "SCART to 3.5 mm lead" in json.dumps(packed)


def test_a_fault_added_by_the_recipe_is_asked_for_and_found(copy: Copy) -> None:
    copy.edit("data/faults.toml", r"\Z", FAULT)
    begun = ("isolate", "--complaint", "no-sound", "--signal", "optical", "--input", "optical")
    first = copy.json(*begun)
    assert "spider" in json.dumps(first)
    found = copy.json(*begun, "--answer", "spider-look=yes")
    assert json.dumps(found).index("a spider sits") >= 0


def test_a_field_of_a_job_added_by_the_recipe_is_typed_filed_shown_and_dumped(
    copy: Copy, tmp_path: Path
) -> None:
    copy.jackfield("job", "add", "--job", "J-1", "--client", "Alder", "--make", "Norwell")
    for after, name, about in (
        (r"^    note: str = .*\n", "parking", "where to leave the van"),
        (r"^    model: str = .*\n", "shelf", "what the set stands on"),
    ):
        line = f'    {name}: str = field(default="", metadata=declared(Line(), "{about}"))\n'
        copy.edit("kb/domain/job.py", after, line)
    for language, label in (("en", "van at"), ("es", "furgoneta en")):
        line = f' "cli/job/field/parking": "{label}",\n'
        copy.edit(f"data/messages/{language}/cli.json", r'^ "cli/job/field/note": .*\n', line)
        line = ' "help/job/parking": "Where to leave the van.",\n'
        copy.edit(f"data/messages/{language}/help.json", r'^ "help/job/note": .*\n', line)

    assert "Where to leave the van." in copy.jackfield("job", "add", "--help")
    copy.jackfield("job", "change", "J-1", "--parking", "behind the barn", "--shelf", "a wall bracket")
    file = tmp_path / "jobs.json"
    file.write_text(
        json.dumps([{"job": "J-2", "make": "Norwell", "shelf": "a chest", "parking": "the lane"}])
    )
    copy.jackfield("job", "add", "--file", str(file))
    shown = copy.jackfield("job", "show", "J-1")
    for part in ("van at", "behind the barn", "shelf a wall bracket"):
        assert part in shown

    dump, other = tmp_path / "book.jsonl", Copy(copy.root, tmp_path / "other")
    copy.jackfield("dump", str(dump))
    other.jackfield("load", str(dump))
    jobs = {one["job"]: one for one in other.json("job", "list")["jobs"]}
    assert (jobs["J-1"]["parking"], jobs["J-2"]["shelf"]) == ("behind the barn", "a chest")
