"""List the words that are printed at jacks, by what they mean and in which language.

One table of words and one of ring colours: the panel reader (``kb.domain.marking``) knows no others. A
meaning is written as its English word. ``source`` says where a word was seen; "common practice" is panels and
manuals in that language.

>>> [row.meaning for row in ROWS["USCITA"]]
['OUT']
"""

from __future__ import annotations

from typing import Final, NamedTuple

from kb.base.text import plain_capitals
from kb.domain.words import Colour, Direction, Form, Signal

_PRACTICE: Final = "common practice"


class MarkWords(NamedTuple):
    """Words of one language with one meaning."""

    meaning: str
    language: str
    words: str
    """With blanks between, as :func:`kb.base.text.plain_capitals` writes them."""
    source: str = _PRACTICE
    needs: bool = False
    """They are believed only next to another word of their language: short, or of another sense elsewhere."""


#: International words: makers print them whatever the language of the rest.
ANY: Final = ""

WORDS: Final = (
    # -- out and in
    MarkWords("OUT", ANY, "OUT OUTPUT OUTPUTS"),
    MarkWords("OUT", "de", "AUSGANG AUSGANGE AUSG AUSGAENGE AUS"),
    MarkWords("OUT", "fr", "SORTIE SORTIES"),
    MarkWords("OUT", "es", "SALIDA SALIDAS SAL"),
    MarkWords("OUT", "it", "USCITA USCITE USC"),
    MarkWords("OUT", "nl", "UIT UITGANG UITGANGEN UITG"),
    MarkWords("OUT", "pt", "SAIDA SAIDAS"),
    MarkWords("OUT", "pl", "WYJSCIE WYJSCIA WYJ"),
    MarkWords("OUT", "cs", "VYSTUP VYSTUPY VYST"),
    MarkWords("OUT", "sv", "UTGANG UTGANGAR"),
    MarkWords("OUT", "sv", "UT", needs=True),
    MarkWords("OUT", "da", "UDGANG UDGANGE UTGANG"),
    MarkWords("OUT", "da", "UD UT", needs=True),
    MarkWords("OUT", "tr", "CIKIS CIKISI CIKISLARI"),
    MarkWords("OUT", "ja", "出力"),
    MarkWords("OUT", "ru", "ВЫХОД ВЫХОДЫ ВЫХ"),
    MarkWords("OUT", "fi", "LAHTO LAHDOT ULOS ULOSTULO"),
    MarkWords("OUT", "hu", "KIMENET KIMENETEK"),
    MarkWords("OUT", "el", "ΕΞΟΔΟΣ ΕΞΟΔΟΙ"),
    MarkWords("OUT", "ro", "IESIRE IESIRI"),
    MarkWords("OUT", "zh", "输出 輸出"),
    MarkWords("OUT", "ko", "출력"),
    MarkWords("IN", ANY, "IN INPUT INPUTS"),
    MarkWords("IN", "de", "EINGANG EINGANGE EING EINGAENGE EIN"),
    MarkWords("IN", "fr", "ENTREE ENTREES ENT"),
    MarkWords("IN", "es", "ENTRADA ENTRADAS ENT"),
    MarkWords("IN", "it", "INGRESSO INGRESSI INGR"),
    MarkWords("IN", "nl", "INGANG INGANGEN"),
    MarkWords("IN", "pt", "ENTRADA ENTRADAS"),
    MarkWords("IN", "pl", "WEJSCIE WEJSCIA WEJ"),
    MarkWords("IN", "cs", "VSTUP VSTUPY"),
    MarkWords("IN", "sv", "INGANG INGANGAR"),
    MarkWords("IN", "da", "INDGANG INDGANGE INNGANG"),
    MarkWords("IN", "da", "IND INN", needs=True),
    MarkWords("IN", "tr", "GIRIS GIRISI GIRISLERI"),
    MarkWords("IN", "ja", "入力"),
    MarkWords("IN", "ru", "ВХОД ВХОДЫ ВХ"),
    MarkWords("IN", "fi", "TULO TULOT SISAAN SISAANTULO"),
    MarkWords("IN", "hu", "BEMENET BEMENETEK"),
    MarkWords("IN", "el", "ΕΙΣΟΔΟΣ ΕΙΣΟΔΟΙ"),
    MarkWords("IN", "ro", "INTRARE INTRARI"),
    MarkWords("IN", "zh", "输入 輸入"),
    MarkWords("IN", "ko", "입력"),
    # -- to and from something
    MarkWords("TO", "en", "TO"),
    MarkWords("TO", "de", "ZUM ZUR"),
    MarkWords("TO", "fr", "VERS"),
    MarkWords("TO", "nl", "NAAR"),
    MarkWords("TO", "sv", "TILL"),
    MarkWords("TO", "da", "TIL"),
    MarkWords("TO", "es", "A", needs=True),
    MarkWords("FROM", "en", "FROM"),
    MarkWords("FROM", "de", "VOM VON"),
    MarkWords("AMPLIFIER", ANY, "AMP AMPLI AMPLIFIER HIFI STEREOANLAGE"),
    MarkWords("AMPLIFIER", "de", "VERSTARKER"),
    MarkWords("AMPLIFIER", "es", "AMPLIFICADOR"),
    MarkWords("AMPLIFIER", "it", "AMPLIFICATORE"),
    MarkWords("RECORDER", ANY, "RECORDER"),
    MarkWords("RECORDER", "es", "GRABADORA GRABADOR"),
    # -- sound
    MarkWords("AUDIO", ANY, "AUDIO AV SOUND"),
    MarkWords("AUDIO", "de", "TON NF"),
    MarkWords("AUDIO", "fr", "SON"),
    MarkWords("AUDIO", "es", "SONIDO"),
    MarkWords("AUDIO", "it", "SUONO"),
    MarkWords("AUDIO", "nl", "GELUID GELUIDS"),
    MarkWords("AUDIO", "pt", "SOM"),
    MarkWords("AUDIO", "pl", "DZWIEK DZWIEKU FONIA"),
    MarkWords("AUDIO", "cs", "ZVUK ZVUKU"),
    MarkWords("AUDIO", "sv", "LJUD"),
    MarkWords("AUDIO", "da", "LYD"),
    MarkWords("AUDIO", "tr", "SES"),
    MarkWords("AUDIO", "ja", "音声 オーディオ"),
    MarkWords("AUDIO", "ru", "АУДИО ЗВУК ЗВУКА НЧ"),
    MarkWords("AUDIO", "fi", "AANI AANEN"),
    MarkWords("AUDIO", "hu", "HANG"),
    MarkWords("AUDIO", "el", "ΗΧΟΣ ΗΧΟΥ"),
    MarkWords("AUDIO", "ro", "SUNET"),
    MarkWords("AUDIO", "zh", "音频 音頻 声音"),
    MarkWords("AUDIO", "ko", "음성 오디오"),
    MarkWords("LINE", ANY, "LINE ANALOG ANALOGUE"),
    MarkWords("LINE", "fr", "LIGNE ANALOGIQUE"),
    MarkWords("LINE", "es", "LINEA ANALOGICA ANALOGICO"),
    MarkWords("LINE", "it", "ANALOGICA"),
    MarkWords("LINE", "pt", "LINHA"),
    MarkWords("LINE", "ja", "ライン アナログ"),
    MarkWords("LINE", "ru", "ЛИН ЛИНЕЙНЫЙ"),
    MarkWords("BALANCED", ANY, "BALANCED BAL"),
    MarkWords("BALANCED", "de", "SYMMETRISCH SYMM"),
    MarkWords("BALANCED", "fr", "SYMETRIQUE SYM"),
    MarkWords("BALANCED", "es", "BALANCEADA BALANCEADO"),
    MarkWords("PRE", ANY, "PRE PREAMP"),
    MarkWords("PRE", "de", "VORVERSTARKER"),
    MarkWords("RECORD", ANY, "REC RECORD"),
    MarkWords("RECORD", "de", "AUFNAHME"),
    MarkWords("PLAY", ANY, "PLAY PLAYBACK"),
    MarkWords("PLAY", "de", "WIEDERGABE"),
    MarkWords("TAPE", ANY, "TAPE"),
    MarkWords("TAPE", "de", "TONBAND"),
    MarkWords("TAPE", "fr", "MAGNETOPHONE MAGNETO"),
    MarkWords("MONITOR", ANY, "MONITOR"),
    MarkWords("TV", ANY, "TV TELEVISION"),
    MarkWords("ZONE", ANY, "ZONE ROOM"),
    # -- channels
    MarkWords("STEREO", ANY, "STEREO"),
    MarkWords("STEREO", "ru", "СТЕРЕО"),
    MarkWords("MONO", ANY, "MONO"),
    MarkWords("LEFT", ANY, "L LEFT SX"),
    MarkWords("RIGHT", ANY, "R RIGHT DX"),
    MarkWords("LEFT", "de", "LINKS"),
    MarkWords("RIGHT", "de", "RECHTS"),
    MarkWords("LEFT", "nl", "LINKS"),
    MarkWords("RIGHT", "nl", "RECHTS"),
    MarkWords("LEFT", "fr", "GAUCHE"),
    MarkWords("RIGHT", "fr", "DROITE DROIT"),
    MarkWords("LEFT", "fr", "G", needs=True),
    MarkWords("RIGHT", "fr", "D", needs=True),
    MarkWords("LEFT", "es", "IZQ IZQUIERDO IZQUIERDA"),
    MarkWords("RIGHT", "es", "DERECHO DERECHA DER"),
    MarkWords("LEFT", "es", "I", needs=True),
    MarkWords("RIGHT", "es", "D", needs=True),
    MarkWords("LEFT", "it", "SINISTRO SINISTRA SIN"),
    MarkWords("RIGHT", "it", "DESTRO DESTRA"),
    MarkWords("LEFT", "pt", "ESQUERDO ESQUERDA ESQ"),
    MarkWords("RIGHT", "pt", "DIREITO DIREITA DIR"),
    MarkWords("LEFT", "pt", "E", needs=True),
    MarkWords("RIGHT", "pt", "D", needs=True),
    MarkWords("LEFT", "pl", "LEWY"),
    MarkWords("RIGHT", "pl", "PRAWY"),
    MarkWords("RIGHT", "pl", "P", needs=True),
    MarkWords("LEFT", "cs", "LEVY"),
    MarkWords("RIGHT", "cs", "PRAVY"),
    MarkWords("RIGHT", "cs", "P", needs=True),
    MarkWords("LEFT", "sv", "VANSTER"),
    MarkWords("RIGHT", "sv", "HOGER"),
    MarkWords("LEFT", "sv", "V", needs=True),
    MarkWords("RIGHT", "sv", "H", needs=True),
    MarkWords("LEFT", "da", "VENSTRE"),
    MarkWords("RIGHT", "da", "HOJRE HOYRE"),
    MarkWords("LEFT", "da", "V", needs=True),
    MarkWords("RIGHT", "da", "H", needs=True),
    MarkWords("LEFT", "tr", "SOL"),
    MarkWords("RIGHT", "tr", "SAG"),
    MarkWords("LEFT", "ja", "左"),
    MarkWords("RIGHT", "ja", "右"),
    MarkWords("LEFT", "ru", "Л ЛЕВ ЛЕВЫЙ"),
    MarkWords("LEFT", "fi", "VASEN"),
    MarkWords("LEFT", "hu", "BAL", needs=True),
    MarkWords("LEFT", "zh", "左"),
    MarkWords("LEFT", "ko", "좌"),
    MarkWords("RIGHT", "ru", "П ПРАВ ПРАВЫЙ"),
    MarkWords("RIGHT", "fi", "OIKEA"),
    MarkWords("RIGHT", "hu", "JOBB"),
    MarkWords("RIGHT", "zh", "右"),
    MarkWords("RIGHT", "ko", "우"),
    # -- headphones
    MarkWords("HEADPHONE", ANY, "HEADPHONE HEADPHONES PHONES PHONE EAR EARPHONE EARPHONES HEADSET"),
    MarkWords("HP", ANY, "HP"),
    MarkWords("HEADPHONE", "de", "KOPFHORER KOPFHOERER KOPFH OHRHORER KH"),
    MarkWords("HEADPHONE", "fr", "CASQUE CASQUES ECOUTEUR ECOUTEURS"),
    MarkWords("HEADPHONE", "es", "AURICULAR AURICULARES AURIC AUDIFONO AUDIFONOS CASCOS"),
    MarkWords("HEADPHONE", "it", "CUFFIA CUFFIE"),
    MarkWords("HEADPHONE", "nl", "HOOFDTELEFOON KOPTELEFOON HOOFDTEL"),
    MarkWords("HEADPHONE", "pt", "AUSCULTADORES AUSCULTADOR FONE FONES"),
    MarkWords("HEADPHONE", "pl", "SLUCHAWKI SLUCHAWKOWE"),
    MarkWords("HEADPHONE", "cs", "SLUCHATKA SLUCHATKOVY"),
    MarkWords("HEADPHONE", "sv", "HORLUR HORLURAR HORLURS"),
    MarkWords("HEADPHONE", "da", "HOVEDTELEFON HOVEDTELEFONER HODETELEFON HODETELEFONER"),
    MarkWords("HEADPHONE", "tr", "KULAKLIK"),
    MarkWords("HEADPHONE", "ja", "ヘッドホン ヘッドフォン イヤホン"),
    MarkWords("HEADPHONE", "ru", "НАУШНИКИ НАУШН"),
    MarkWords("HEADPHONE", "fi", "KUULOKE KUULOKKEET"),
    MarkWords("HEADPHONE", "hu", "FEJHALLGATO FULHALLGATO"),
    MarkWords("HEADPHONE", "el", "ΑΚΟΥΣΤΙΚΑ"),
    MarkWords("HEADPHONE", "ro", "CASTI"),
    MarkWords("HEADPHONE", "zh", "耳机 耳機"),
    MarkWords("HEADPHONE", "ko", "헤드폰 이어폰"),
    # -- digital
    MarkWords("DIGITAL", ANY, "DIGITAL DIG SPDIF PCM BITSTREAM"),
    MarkWords("DIGITAL", "de", "DIGITALE DIGITALER DIGITALES"),
    MarkWords("DIGITAL", "fr", "NUMERIQUE NUM"),
    MarkWords("DIGITAL", "it", "DIGITALE"),
    MarkWords("DIGITAL", "nl", "DIGITALE"),
    MarkWords("DIGITAL", "pl", "CYFROWE CYFROWY"),
    MarkWords("DIGITAL", "cs", "DIGITALNI"),
    MarkWords("DIGITAL", "tr", "DIJITAL"),
    MarkWords("DIGITAL", "ja", "デジタル"),
    MarkWords("DIGITAL", "ru", "ЦИФР ЦИФРОВОЙ"),
    MarkWords("DIGITAL", "fi", "DIGITAALINEN DIGITAALI"),
    MarkWords("DIGITAL", "hu", "DIGITALIS"),
    MarkWords("DIGITAL", "el", "ΨΗΦΙΑΚΗ ΨΗΦΙΑΚΟΣ"),
    MarkWords("DIGITAL", "zh", "数字 數位"),
    MarkWords("DIGITAL", "ko", "디지털"),
    MarkWords("OPTICAL", ANY, "OPTICAL OPT TOSLINK"),
    MarkWords("OPTICAL", "de", "OPTISCH OPTISCHE OPTISCHER OPTISCHES"),
    MarkWords("OPTICAL", "fr", "OPTIQUE"),
    MarkWords("OPTICAL", "es", "OPTICO OPTICA"),
    MarkWords("OPTICAL", "it", "OTTICO OTTICA"),
    MarkWords("OPTICAL", "nl", "OPTISCH OPTISCHE"),
    MarkWords("OPTICAL", "pt", "OPTICO OPTICA OTICO OTICA"),
    MarkWords("OPTICAL", "pl", "OPTYCZNE OPTYCZNY"),
    MarkWords("OPTICAL", "cs", "OPTICKY OPTICKE"),
    MarkWords("OPTICAL", "sv", "OPTISK OPTISKT"),
    MarkWords("OPTICAL", "da", "OPTISK"),
    MarkWords("OPTICAL", "tr", "OPTIK"),
    MarkWords("OPTICAL", "ja", "光"),
    MarkWords("OPTICAL", "ru", "ОПТ ОПТИЧ ОПТИЧЕСКИЙ"),
    MarkWords("OPTICAL", "fi", "OPTINEN"),
    MarkWords("OPTICAL", "hu", "OPTIKAI"),
    MarkWords("OPTICAL", "el", "ΟΠΤΙΚΗ"),
    MarkWords("OPTICAL", "zh", "光纤 光纖"),
    MarkWords("OPTICAL", "ko", "광"),
    MarkWords("COAXIAL", ANY, "COAX COAXIAL"),
    MarkWords("COAXIAL", "de", "KOAXIAL KOAXIALE KOAXIALER KOAXIALES KOAX"),
    MarkWords("COAXIAL", "fr", "COAXIALE"),
    MarkWords("COAXIAL", "it", "COASSIALE"),
    MarkWords("COAXIAL", "nl", "COAXIALE"),
    MarkWords("COAXIAL", "pl", "KOAKSJALNE"),
    MarkWords("COAXIAL", "ja", "同軸"),
    MarkWords("COAXIAL", "ru", "КОАКС"),
    MarkWords("COAXIAL", "zh", "同轴"),
    MarkWords("COAXIAL", "ko", "동축"),
    MarkWords("ARC", ANY, "ARC", "HDMI 1.4"),
    MarkWords("EARC", ANY, "EARC", "HDMI 2.1"),
    MarkWords("RETURN", ANY, "RETURN"),
    MarkWords("CHANNEL", ANY, "CHANNEL CH"),
    # -- pictures, bass, shares, control
    MarkWords("VIDEO", ANY, "VIDEO COMPONENT COMPOSITE YPBPR YCBCR PB PR CB CR SVIDEO VGA RGB DVI"),
    MarkWords("VIDEO", "de", "BILD"),
    MarkWords("VIDEO", "fr", "COMPOSANTE"),
    MarkWords("VIDEO", "es", "COMPONENTE"),
    MarkWords("VIDEO", "ja", "映像 ビデオ"),
    MarkWords("VIDEO", "ru", "ВИДЕО"),
    MarkWords("VIDEO", "fi", "KUVA"),
    MarkWords("VIDEO", "hu", "KEP"),
    MarkWords("VIDEO", "el", "ΕΙΚΟΝΑ"),
    MarkWords("VIDEO", "zh", "视频 視訊"),
    MarkWords("VIDEO", "ko", "영상 비디오"),
    MarkWords("SHARE", ANY, "SURROUND CENTER CENTRE REAR"),
    MarkWords("SHARE", "fr", "ARRIERE"),
    MarkWords("SHARE", "de", "HINTEN"),
    MarkWords("SHARE", "es", "TRASERO"),
    MarkWords("FRONT", ANY, "FRONT MAIN"),
    MarkWords("MICROPHONE", ANY, "MIC MICRO MICROPHONE"),
    MarkWords("MICROPHONE", "de", "MIKROFON MIKRO"),
    MarkWords("MICROPHONE", "es", "MICROFONO"),
    MarkWords("MICROPHONE", "ja", "マイク"),
    MarkWords("MICROPHONE", "ru", "МИКРОФОН"),
    MarkWords("MICROPHONE", "fi", "MIKROFONI"),
    MarkWords("MICROPHONE", "zh", "麦克风"),
    MarkWords("MICROPHONE", "ko", "마이크"),
    MarkWords("BASS", ANY, "SUBWOOFER SUB WOOFER SUBW SW BASS LFE"),
    MarkWords("BASS", "de", "TIEFTONER"),
    MarkWords("BASS", "fr", "CAISSON BASSES"),
    MarkWords("BASS", "ru", "САБВУФЕР"),
    MarkWords(
        "CONTROL",
        ANY,
        "IR REMOTE SERVICE CONTROL RS232 RS232C 232C TRIGGER TRIG USB LAN ETHERNET NETWORK ANT ANTENNA "
        "AERIAL RF DEBUG UPDATE EXTENDER BLASTER 12V MIDI SYNC CLOCK 3D",
    ),
    MarkWords("CONTROL", "de", "ANTENNE FERNBEDIENUNG"),
    MarkWords("CONTROL", "fr", "ANTENNE TELECOMMANDE"),
    MarkWords("CONTROL", "es", "SERVICIO ANTENA"),
    MarkWords("CONTROL", "it", "TELECOMANDO"),
    MarkWords("LINK", ANY, "LINK LOOP THRU THROUGH SYSTEM"),
    # -- what plugs in
    MarkWords(
        "DEVICE",
        ANY,
        "PC HDMI AUX GAME CAMERA CAMCORDER VCR DVD EXT SCART COMPUTER STB SAT CD PHONO TUNER BLURAY RADIO",
    ),
    MarkWords("DEVICE", "es", "ORDENADOR EUROCONECTOR"),
    MarkWords("DEVICE", "fr", "ORDINATEUR PERITEL"),
    # -- loudspeakers
    MarkWords("SPEAKER", ANY, "SPEAKER SPEAKERS SPK SPKR SP LS OHM OHMS 100V 70V"),
    MarkWords("SPEAKER", "de", "LAUTSPRECHER LAUTSPR BOXEN"),
    MarkWords("SPEAKER", "fr", "ENCEINTE ENCEINTES HAUTPARLEUR HAUTPARLEURS PARLEUR PARLEURS"),
    MarkWords("SPEAKER", "es", "ALTAVOZ ALTAVOCES"),
    MarkWords("SPEAKER", "it", "ALTOPARLANTE ALTOPARLANTI"),
    MarkWords("SPEAKER", "nl", "LUIDSPREKER LUIDSPREKERS"),
    MarkWords("SPEAKER", "pt", "COLUNAS ALTIFALANTE ALTIFALANTES"),
    MarkWords("SPEAKER", "pl", "GLOSNIK GLOSNIKI"),
    MarkWords("SPEAKER", "cs", "REPRODUKTOR REPRODUKTORY"),
    MarkWords("SPEAKER", "sv", "HOGTALARE"),
    MarkWords("SPEAKER", "da", "HOJTTALER HOJTTALERE HOYTTALER"),
    MarkWords("SPEAKER", "tr", "HOPARLOR"),
    MarkWords("SPEAKER", "ja", "スピーカー"),
    MarkWords("SPEAKER", "ru", "ГРОМКОГОВОРИТЕЛЬ ДИНАМИК"),
    MarkWords("SPEAKER", "fi", "KAIUTIN KAIUTTIMET"),
    MarkWords("SPEAKER", "hu", "HANGSZORO HANGSZOROK"),
    MarkWords("SPEAKER", "el", "ΗΧΕΙΑ"),
    MarkWords("SPEAKER", "zh", "扬声器 喇叭"),
    MarkWords("SPEAKER", "ko", "스피커"),
    # -- level
    MarkWords("FIXED", ANY, "FIXED FIX"),
    MarkWords("FIXED", "fr", "FIXE"),
    MarkWords("FIXED", "es", "FIJA FIJO"),
    MarkWords("FIXED", "de", "FEST"),
    MarkWords("VARIABLE", ANY, "VARIABLE VAR"),
    MarkWords("VARIABLE", "de", "VARIABEL REGELBAR"),
    # -- words that change nothing
    MarkWords("OF", ANY, "Ω"),
    MarkWords("OF", "en", "OF THE FOR AND OR WITH JACK SOCKET SIDE PORT ONLY"),
    MarkWords("OF", "de", "DER DIE DAS UND ODER FUR BUCHSE ANSCHLUSS"),
    MarkWords("OF", "fr", "DE DU LA LE ET PRISE"),
    MarkWords("OF", "fr", "OU", needs=True),
    MarkWords("OF", "es", "DE DEL LA EL PARA TOMA"),
    MarkWords("OF", "it", "DI PRESA PER"),
    MarkWords("OF", "nl", "VAN EN VOOR AANSLUITING"),
    MarkWords("OF", "pt", "DO DA OUVIDO PARA"),
    MarkWords("OF", "ja", "端子 の"),
)

#: There is none of what follows: ``NO OUTPUT``, ``KEIN AUSGANG`` (common practice). Not among WORDS,
#: which make a text on a photo the mark of a jack: ``DO NOT OPEN`` is none.
DENIALS: Final = frozenset(
    "NO NOT NON WITHOUT KEIN KEINE KEINEN OHNE NICHT PAS SANS AUCUN AUCUNE NINGUN NINGUNA".split()
)
SPANISH_DENIAL: Final = "SIN"  #: in Italian the left channel
#: A box that a set may feed, or that may feed the set.
DECODERS: Final = frozenset({"DECODER", "DECODEUR", "DECODIFICADOR", "DESCODIFICADOR"})

#: Parts of the set itself, whose sound its own outputs give.
OWN_PARTS: Final = frozenset({"TV", "TELEVISION", "TUNER"})


class Ring(NamedTuple):
    """The meaning of a ring's colour at one form. Where it tells no direction, the mark does."""

    form: Form
    colour: Colour
    direction: Direction
    signal: Signal | None
    source: str


_CTA: Final = "CTA-863, as published on connector reference pages"
_PC99: Final = "PC 99 System Design Guide, colours of connectors (from memory)"

_ANY_WAY, _OUT, _IN = Direction.UNCLEAR, Direction.OUTPUT, Direction.INPUT
_NONE, _ONE_RCA, _SMALL = Signal.NOT_AUDIO, Form.RCA_SINGLE, Form.JACK_35

#: Red alone is right audio or Pr: it settles nothing. A 3.5 mm jack is read by its ring only if no mark
#: tells; most are black, so black tells nothing.
RINGS: Final = (
    Ring(_ONE_RCA, Colour.YELLOW, _ANY_WAY, _NONE, _CTA),
    Ring(_ONE_RCA, Colour.PURPLE, _ANY_WAY, _NONE, _CTA),
    Ring(_ONE_RCA, Colour.GREEN, _ANY_WAY, _NONE, _CTA),
    Ring(_ONE_RCA, Colour.BLUE, _ANY_WAY, _NONE, _CTA),
    Ring(_ONE_RCA, Colour.GREY, _ANY_WAY, _NONE, _CTA),
    Ring(_ONE_RCA, Colour.BROWN, _ANY_WAY, _NONE, _CTA),
    Ring(_ONE_RCA, Colour.TAN, _ANY_WAY, _NONE, _CTA),
    Ring(_ONE_RCA, Colour.ORANGE, _ANY_WAY, Signal.COAXIAL, _CTA),
    Ring(_ONE_RCA, Colour.WHITE, _OUT, Signal.ANALOG_LINE, _CTA),
    Ring(_SMALL, Colour.GREEN, _OUT, Signal.HEADPHONE, _PC99),
    Ring(_SMALL, Colour.BLUE, _IN, Signal.ANALOG_LINE, _PC99),
    Ring(_SMALL, Colour.PINK, _IN, None, _PC99),
    Ring(_SMALL, Colour.ORANGE, _OUT, _NONE, _PC99),
    Ring(_SMALL, Colour.GREY, _OUT, _NONE, _PC99),
)  # fmt: skip


class Plug(NamedTuple):
    """Words that say what plugs in, whatever else is printed."""

    form: Form
    words: str
    source: str = _PRACTICE


#: In order: the first form of which a word is printed. Meanings in capitals tell it, too.
PLUGS: Final = (
    Plug(Form.HDMI, "HDMI ARC EARC"),
    Plug(Form.TOSLINK, "OPTICAL"),
    Plug(Form.RCA_SINGLE, "COAXIAL"),
    Plug(Form.JACK_35, "HEADPHONE HP"),
    Plug(Form.SPEAKER_TERMINALS, "SPEAKER"),
    Plug(Form.SCART, "SCART PERITEL EUROCONECTOR EXT"),
    Plug(Form.USB, "USB"),
    Plug(Form.RJ45, "LAN ETHERNET NETWORK"),
    Plug(Form.D_SUB, "VGA RS232 RS232C 232C"),
    Plug(Form.ANTENNA, "ANT ANTENNA AERIAL RF ANTENNE ANTENA"),
    Plug(Form.RCA_SINGLE, "BASS"),
)


def _table() -> dict[str, list[MarkWords]]:
    found: dict[str, list[MarkWords]] = {}
    for row in WORDS:
        for word in row.words.split():
            found.setdefault(plain_capitals(word), []).append(row)
    return found


#: The ring of each form and colour.
RING_OF: Final = {(ring.form, ring.colour): ring for ring in RINGS}
#: The rows of each word.
ROWS: Final = _table()
