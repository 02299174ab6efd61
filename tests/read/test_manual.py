"""What a manual says of a set: jacks with page and line, and none of another device."""

from __future__ import annotations

import io
import json
import sys
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from kb.base.text import plain_capitals
from kb.domain.visit import visit_from
from kb.read import pdf, pdf_text
from kb.read.limits import PdfLimits
from kb.read.manual import Item, ManualText, jacks_of
from kb.read.manual_words import sentences
from kb.read.pdf import document
from tests.read.papers import NV40, paper

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))

import manuals
import measure_manuals


@pytest.fixture(autouse=True)
def _read_in_this_process(monkeypatch: pytest.MonkeyPatch) -> None:
    """test_manual_files.py reads manuals in programs of their own; here it is what they say that counts."""

    def asked(sent: bytes, _place: object, bounds: PdfLimits) -> tuple[int, list[dict[str, Any]], bool]:
        first, *pages = json.loads(json.dumps(list(pdf_text.lines(sent, bounds))))
        return first["pages"], pages, True

    monkeypatch.setattr(pdf, "_asked", asked)


def drafted(*pages: list[str], model: str = "NV40-210") -> list[Item]:
    return ManualText(document(paper(*pages), "manual").pages).draft(model)


def own(text: str) -> list[str]:
    return [mention.mark for sentence in sentences(text) for mention in sentence.own]


@pytest.mark.parametrize(
    ("said", "marks"),
    [
        ("Use an optical lead between OPTICAL OUT and the amplifier.", ["OPTICAL OUT"]),
        ("Das Kabel in KOPFHÖRER stecken.", ["KOPFHÖRER"]),
        ("Branchez la barre de son sur HDMI 2 (ARC).", ["HDMI 2 (ARC)"]),
        ("El sonido sale por SALIDA DE AUDIO (L/R).", ["SALIDA DE AUDIO (L/R)"]),
        ("Il cavo va in USCITA OTTICA.", ["USCITA OTTICA"]),
        ("Steek de stekker in HOOFDTELEFOON.", ["HOOFDTELEFOON"]),
        ("DIGITAL AUDIO OUT (OPTICAL): for a sound system.", ["DIGITAL AUDIO OUT (OPTICAL)"]),
    ],
)
def test_what_is_printed_in_capitals_is_a_jack(said: str, marks: list[str]) -> None:
    assert own(said) == marks


@pytest.mark.parametrize(
    "said",
    [
        "Connect the AUDIO OUT of your recorder to it.",
        "Plug the cable into the recorder's LINE OUT.",
        "AUDIO OUT des Rekorders verbinden.",
        "La prise AUDIO OUT du lecteur se branche ici.",
        "Conecte AUDIO OUT del grabador.",
        "Collegare AUDIO OUT del registratore.",
        "Verbind AUDIO OUT van de recorder.",
        "The amplifier needs an OPTICAL IN socket.",
        "Press the HEADPHONE key.",
        "SERVICE: for service personnel only. Not for headphones.",
        "This model has no LINE OUT.",
        "Diese Reihe hat keinen Anschluss KOAXIAL AUSGANG.",
        "Choose PCM on the TV, then press OK.",
        "Set the receiver's selector to the input used, for example COAXIAL IN.",
        "Das Fernsehgerät ist nicht mit einer LINE OUT-Buchse ausgestattet.",
        "Ce téléviseur n'est pas équipé d'une prise LINE OUT.",
        "Una presa COAXIAL OUT non è prevista: non è dotato di COAXIAL OUT.",
        "Este televisor no está equipado con una toma LINE OUT.",
        "Deze tv is niet voorzien van een LINE OUT-aansluiting.",
        "LINE OUT is omitted on 24-inch sets.",
        "Bei 24-Zoll-Geräten entfällt LINE OUT.",
        "LINE OUT manca sui modelli da 24 pollici.",
    ],
)
def test_jacks_of_other_devices_keys_and_missing_jacks_are_left_out(said: str) -> None:
    assert own(said) == []


@pytest.mark.parametrize(
    "said",
    [
        "The optional dock has a LINE OUT.",
        "LINE OUT (some models only).",
        "Je nach Modell: LINE OUT.",
        "LINE OUT: niet in alle regio's beschikbaar.",
        "LINE OUT : selon le pays.",
        "El conector LINE OUT puede variar según el país.",
        "LINE OUT: non disponibile in tutti i paesi.",
    ],
)
def test_what_is_optional_or_depends_on_the_model_is_doubtful(said: str) -> None:
    (sentence,) = sentences(said)
    assert not sentence.own
    assert [mention.mark for mention, _ in sentence.doubtful] == ["LINE OUT"]


def test_each_finding_names_its_page_and_its_line() -> None:
    items = drafted(*NV40)
    said = {(item.marking, *item.says.values()): (item.page, item.line) for item in items if not item.doubt}
    assert said[("OPTICAL OUT",)] == (2, "OPTICAL OUT")
    assert said[("HEADPHONE", "mute")] == (2, "The speakers are muted while headphones are connected.")
    menu = ("OPTICAL OUT", "selectable", "Sound > Digital output")
    assert said[menu] == (3, "Sound > Digital output: choose PCM or Auto.")
    assert [(item.marking, item.doubt) for item in items if item.doubt] == [("LINE OUT", "depending")]


def test_confirmed_items_make_a_visit_read_by_the_panel_reader() -> None:
    items = [item for item in drafted(*NV40) if not item.doubt]
    visit = visit_from(
        {"date": "2026-03-04", "source": {"make": "Norwell", "model": "NV40-210"}, "jacks": jacks_of(items)}
    )
    found = {one.jack.marking: one for one in visit.findings}
    assert found.keys() == {"OPTICAL OUT", "HEADPHONE", "AV IN", "HDMI 2 (ARC)"}
    assert found["HEADPHONE"].speakers.value == "mute"
    assert found["AV IN"].jack.direction.value == "input"
    assert found["HDMI 2 (ARC)"].jack.signal == "arc"


def test_only_the_column_of_the_own_model_counts() -> None:
    table = [
        "Specifications",
        "Model | NV40-210 | NV50-210",
        "OPTICAL OUT | yes | yes",
        "LINE OUT | - | yes",
        "HEADPHONE | yes | -",
    ]
    for model, has, lacks in (("NV40-210", "HEADPHONE", "LINE OUT"), ("NV50-210", "LINE OUT", "HEADPHONE")):
        items = {item.marking: item for item in drafted(table, model=model)}
        assert has in items
        assert lacks not in items
    strange = {item.marking: item.doubt for item in drafted(table, model="NV70")}
    assert strange["LINE OUT"] == "models"
    assert strange["OPTICAL OUT"] == ""


def test_a_manual_that_contradicts_itself_is_doubtful() -> None:
    items = drafted(
        ["1  AUDIO OUT", "RCA. The level of AUDIO OUT is fixed."], ["The level of AUDIO OUT is variable."]
    )
    assert [item.doubt for item in items if "level" in item.says] == ["conflict"]


@pytest.mark.parametrize(
    "said",
    [
        "An adapter with a COAXIAL OUT jack is needed for this.",
        "Den Verstärker auf COAXIAL IN schalten und eine Disc abspielen.",
        "Si votre home cinéma n'offre que OPTICAL IN, voir sa notice.",
        "Solo los aparatos vendidos en ciertos países tienen COAXIAL OUT.",
        "Se l'home theatre offre solo OPTICAL IN, vedere il suo manuale.",
        "Hiervoor is een adapter met COAXIAL OUT nodig.",
    ],
)
def test_a_jack_that_one_sentence_names_in_passing_is_doubtful(said: str) -> None:
    found = [item for item in drafted(["1  HEADPHONE", said]) if item.marking != "HEADPHONE"]
    assert all(item.doubt for item in found)


@pytest.mark.parametrize(
    "said",
    [
        "Run the lead from the OPTICAL OUT of your disc player.",
        "Das Kabel vom OPTICAL OUT des Disc Players holen.",
        "Le câble vient de la prise OPTICAL OUT de votre mini lecteur.",
    ],
)
def test_a_jack_of_a_named_kind_of_device_is_not_of_the_set(said: str) -> None:
    assert own(said) == []


@pytest.mark.parametrize(
    "said",
    [
        "Run the lead to the OPTICAL OUT at the back of the television.",
        "Das Kabel in OPTICAL OUT am Fernseher stecken.",
        "Inserire il cavo in OPTICAL OUT sul televisore.",
    ],
)
def test_a_jack_that_is_said_to_be_at_the_television_is_sure(said: str) -> None:
    assert [item.doubt for item in drafted(["1  HEADPHONE", said]) if item.marking == "OPTICAL OUT"] == [""]


def test_an_input_that_another_device_lacks_says_nothing_of_an_output() -> None:
    assert own("For an amplifier that has no optical input, take COAXIAL OUT.") == ["COAXIAL OUT"]
    assert own("Anlagen ohne optischen Eingang kommen an COAXIAL OUT.") == ["COAXIAL OUT"]


def test_a_sentence_about_other_models_only_says_nothing_of_this_one() -> None:
    said = "NV50-210 only: the cable goes to OPTICAL OUT on the TV."
    but = "Except on NV50-210, the cable goes to COAXIAL OUT on the TV."
    for model, mark in (("NV40-210", "COAXIALOUT"), ("NV50-210", "OPTICALOUT")):
        assert [
            plain_capitals(one.marking).replace(" ", "") for one in drafted([said], [but], model=model)
        ] == [mark]


def test_no_number_of_sentences_that_deny_something_makes_a_jack_sure() -> None:
    said = ["It is no use to look for LINE OUT behind it.", "Never mind which sort of LINE OUT it was."]
    assert all(item.doubt for item in drafted(["1  HEADPHONE", *said]) if item.marking == "LINE OUT")


def test_a_jack_in_a_picture_that_may_differ_is_doubtful() -> None:
    (sentence,) = sentences("The illustration with LINE OUT is an example.")
    assert [why for _, why in sentence.doubtful] == ["depending"]


def test_a_count_with_a_remark_in_a_table_says_that_it_is_there() -> None:
    items = drafted(["Model | NV40-210 | NV50-210", "OPTICAL OUT | 1 (rear) | -"])
    assert [(item.marking, item.doubt) for item in items] == [("OPTICAL OUT", "")]


def test_a_jack_that_two_sentences_name_is_not_named_in_passing() -> None:
    said = ["Run an optical cable to OPTICAL OUT.", "The sound of all channels leaves OPTICAL OUT as PCM."]
    assert [item.doubt for item in drafted(said) if item.is_jack] == [""]


def test_one_jack_in_two_wordings_is_one() -> None:
    items = drafted(
        ["Connect the cable to DIGITAL AUDIO OUT (OPTICAL) on the TV."],
        ["An optical cable goes from OPTICAL OUT to the DIGITAL AUDIO INPUT of the audio system."],
        ["Specifications", "Digital audio output: optical", "HDMI: 2 (HDMI 2: ARC)"],
    )
    assert [item.marking for item in items] == ["DIGITAL AUDIO OUT (OPTICAL)", "HDMI 2"]


def test_several_jacks_in_a_line_are_several() -> None:
    items = drafted(
        ["(1) HDMI IN 1, HDMI IN 2 (ARC)", "(2) AUDIO OUT L/R: 500 mV", "(3) RS-232C", "(4) USB 1"]
    )
    assert [item.marking for item in items] == ["HDMI IN 1", "HDMI IN 2 (ARC)", "AUDIO OUT L/R"]


def test_menus_with_arrows_and_brackets_are_settings_and_no_jacks() -> None:
    items = drafted(
        ["1  OPTICAL OUT", "Menu -> Sound -> Digital sound: PCM, Auto", "Set [Sound Output] to [Receiver]."]
    )
    assert [item.marking for item in items] == ["OPTICAL OUT", "OPTICAL OUT"]
    assert items[1].says == {"format": "selectable", "setting": "Menu > Sound > Digital sound"}


@pytest.mark.parametrize(
    ("said", "level"),
    [
        ("The level of AUDIO OUT is fixed.", "fixed"),
        ("AUDIO OUT: fixed / variable", "selectable"),
        ("Lauter und leiser am Fernseher wirkt nicht auf AUDIO OUT.", "fixed"),
        ("Le volume de AUDIO OUT suit le volume du téléviseur.", "variable"),
    ],
)
def test_the_level_of_an_output(said: str, level: str) -> None:
    lines = {
        "Lauter": "Die Buchse und der Pegel der Anlage mit dem Kabel.",
        "Le": "Le son et la prise de la chaîne.",
    }
    other = lines.get(said.split()[0], "The set and the sound of the amplifier.")
    (found,) = (item.says["level"] for item in drafted([other, said]) if "level" in item.says)
    assert found == level


@pytest.mark.parametrize(
    ("said", "speakers"),
    [
        ("When you connect headphones, the sound from the TV speakers is cut.", "mute"),
        ("Speaker output is off while headphones are plugged in.", "mute"),
        ("The TV speakers are not muted while headphones are plugged in.", "stay-on"),
        ("You can listen with headphones and TV speakers at once.", "stay-on"),
        ("Der Ton der TV-Lautsprecher wird ausgeschaltet, wenn Kopfhörer verwendet werden.", "mute"),
        ("Das Einstecken der Kopfhörer schaltet die Lautsprecher nicht ab.", "stay-on"),
        ("Lorsque vous branchez un casque, le son des enceintes intégrées est coupé.", "mute"),
        ("El sonido de los altavoces se corta al conectar auriculares.", "mute"),
        ("Il suono degli altoparlanti viene escluso quando si usano le cuffie.", "mute"),
        ("Het geluid van de luidsprekers wordt onderbroken bij gebruik van een hoofdtelefoon.", "mute"),
        ("Set Sound > Headphone mode to Both to hear both.", "mute-unless-set"),
        ("El sonido sale tanto por los auriculares como por los altavoces.", "stay-on"),
        ("Con auriculares conectados, los altavoces del televisor no emiten sonido.", "mute"),
        ("L'inserimento dello spinotto delle cuffie esclude gli altoparlanti interni.", "mute"),
        ("Loud sound from headphones can harm your hearing.", None),
    ],
)
def test_what_the_speakers_do_while_headphones_are_used(said: str, speakers: str | None) -> None:
    items = drafted(["1  HEADPHONE", said])
    assert next((item.says["speakers"] for item in items if "speakers" in item.says), None) == speakers


@pytest.mark.parametrize(
    ("mark", "said", "way"),
    [
        ("SCART", "Input only.", "input"),
        ("SCART", "In and out.", "output"),
        ("SCART 2", "Nur Eingang.", "input"),
        ("EXT 1", "Ein- und Ausgang.", "output"),
        ("PÉRITEL", "Entrée seulement", "input"),
        ("PÉRITEL 1", "Entrée et sortie", "output"),
        ("EUROCONECTOR", "Solo entrada.", "input"),
        ("SCART 2", "Solo ingresso.", "input"),
        ("SCART", "Alleen ingang.", "input"),
        ("EXT 2", "An input for a games console; it gives no signal.", "input"),
        ("SCART", "Eingang (kein Ausgangssignal)", "input"),
        ("SCART", "For a recorder that has an input.", "output"),
        ("HDMI 1", "Can return the sound of the TV to an amplifier.", "output"),
        ("HDMI 3", "Mit Audio-Rückkanal (ARC).", "output"),
        ("HDMI 1", "Con canale di ritorno audio (ARC).", "output"),
        ("HDMI 1", "No audio return channel.", "input"),
    ],
)
def test_what_a_line_says_of_direction_outranks_what_the_form_usually_is(
    mark: str, said: str, way: str
) -> None:
    """A SCART socket that only takes sound, taken for an output, sends an installer for nothing."""
    for lines in ([f"{mark} | {said}"], [f"1  {mark} - {said}"]):
        (item,) = drafted(lines)
        (jack,) = jacks_of([item])
        visit = {"date": "2026-03-04", "source": {"make": "Norwell", "model": "NV1"}, "jacks": [jack]}
        assert visit_from(visit).findings[0].jack.direction.value == way
        assert not item.doubt


def test_rows_of_a_table_without_lines_are_apart() -> None:
    items = drafted(
        ["CUFFIE | Inserendo le cuffie gli altoparlanti vengono esclusi", "HDMI 1 | Ingresso, con ARC"]
    )
    assert {item.marking: item.says.get("signal") for item in items if item.is_jack} == {
        "CUFFIE": None,
        "HDMI 1": "arc",
    }


def test_a_mark_that_the_manual_contradicts_is_doubtful() -> None:
    (item,) = drafted(["AUDIO OUT L/R | Input only."])
    assert item.doubt == "conflict"


@pytest.mark.parametrize(
    ("said", "form", "mark"),
    [
        ("C) Kopfhörerbuchse: für Kopfhörer.", "jack-3.5", "Kopfhörerbuchse"),
        ("E) Koaxialer Digitalausgang.", "rca-single", "Koaxialer Digitalausgang"),
        ("Headphones 3.5 mm mini jack.", "jack-3.5", "Headphones"),
        ("Audio-uitgang (cinch): vast niveau.", "rca-pair", "Audio-uitgang"),
        ("③ COAXIAL (digital audio output)", "rca-single", "COAXIAL"),
        ("a. SCART-Buchse.", "scart", "SCART-Buchse"),
        ("Hoofdtelefoonaansluiting (3,5 mm), links.", "jack-3.5", "Hoofdtelefoonaansluiting"),
    ],
)
def test_a_jack_has_an_everyday_name_where_nothing_is_printed(said: str, form: str, mark: str) -> None:
    item = drafted([said])[0]
    assert (item.form.value, item.marking, item.doubt) == (form, mark, "")


def test_a_mark_that_was_broken_in_its_cell_is_one() -> None:
    assert [one.marking for one in drafted(["SORTIE AUDIO", "NUMÉRIQUE"])] == ["SORTIE AUDIO NUMÉRIQUE"]


@pytest.mark.parametrize(
    "said",
    ["Verbinden Sie dessen AUDIO OUT.", "From the deck's LINE OUT.", "Connect its AUDIO OUT to a lead."],
)
def test_the_output_of_what_is_connected_is_none_of_the_set(said: str) -> None:
    assert own(said) == []


def test_a_dash_in_the_column_of_the_model_means_that_it_lacks_the_jack() -> None:
    table = [
        " | NV32 | NV43",
        "HDMI | 2 | 3",
        "Audio line out (RCA) | – | 1",
        "Headphone out (3.5 mm) | 1 | 0",
    ]
    page = ["1  HDMI 3", *table]
    for model, sure in (("NV32", {"Headphone out"}), ("NV43", {"HDMI 3", "Audio line out"})):
        assert {item.marking for item in drafted(page, model=model) if not item.doubt} == sure


@pytest.mark.parametrize(
    ("mark", "said", "name", "value"),
    [
        ("KOPFHÖRER", "Die Lautsprecher spielen mit dem Kopfhörer weiter.", "speakers", "stay-on"),
        (
            "HEADPHONE",
            "The speakers stay on unless you choose Sound > Speakers > Off.",
            "speakers",
            "stay-on",
        ),
        ("COAXIAL OUT", "SPDIF-Ausgabe: PCM / Auto / Aus", "format", "selectable"),
        ("SALIDA COAXIAL", "Salida SPDIF: PCM / Dolby / Desactivado", "format", "selectable"),
        ("SALIDA DE AUDIO L/R", "El nivel varía con el volumen del televisor.", "level", "variable"),
        ("LINE OUT (L/R)", "Stereo (level fixed) for the amplifier.", "level", "fixed"),
    ],
)
def test_what_a_manual_says_in_other_words(mark: str, said: str, name: str, value: str) -> None:
    items = drafted([f"1  {mark}", said])
    assert [item.says.get(name) for item in items if name in item.says] == [value]
    assert {item.marking for item in items} == {mark}  # the name of a menu is no jack


def test_an_attribute_without_its_confirmed_jack_is_left_out() -> None:
    items = [item for item in drafted(*NV40) if not item.is_jack]
    assert items
    assert jacks_of(items) == []


def test_two_libraries_read_the_same_words() -> None:
    """Outside check: pdfminer.six, another reader of PDF with no code in common."""
    high_level = pytest.importorskip("pdfminer.high_level", reason="pdfminer.six is not installed")
    pytest.importorskip("reportlab", reason="reportlab is not installed")
    pytest.importorskip("pypdfium2", reason="pypdfium2 is not installed")
    for seed in (1, 4, 6):
        one = manuals.made(seed)
        ours = Counter(
            word
            for page in document(one.pdf, "m").pages
            for piece in page.pieces
            for word in _words(piece.text)
        )
        assert ours == Counter(_words(high_level.extract_text(io.BytesIO(one.pdf))))
        assert ours == Counter(word for page in one.lines for line in page for word in _words(line))


def _words(text: str) -> list[str]:
    return plain_capitals(text.replace("(cid:127)", "")).split()  # a bullet, for which pdfminer has no sign


def test_most_facts_of_invented_manuals_are_read_and_few_are_invented() -> None:
    """A floor under the measure (scripts/measure_manuals.py): wordings that were not looked at."""
    pytest.importorskip("reportlab", reason="reportlab is not installed")
    pytest.importorskip("pypdfium2", reason="pypdfium2 is not installed")
    scores, wrong = measure_manuals.measured(range(6), "held-out")
    every = scores["all"]
    assert every.right > 0.9 * every.read, wrong
    assert every.right > 0.75 * every.true, wrong
