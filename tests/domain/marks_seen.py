"""Marks as installers note them from panels of thirteen languages, with what each means.

Written down before the reader was changed, as somebody behind a set would note them. ``?`` as the direction:
an installer would not plug in without asking. An empty signal: the mark does not settle what comes out. A row
without a source is common practice of panels and manuals in that language.
"""

from __future__ import annotations

from typing import Final, NamedTuple


class Seen(NamedTuple):
    """One jack: connector, mark, ring colour, and what an installer makes of it."""

    language: str
    form: str
    marking: str
    direction: str
    signal: str = ""
    colour: str = ""
    source: str = "common practice"


def _seen(language: str, *rows: str) -> list[Seen]:
    """Rows as ``form | mark | out, in or ? | signal | colour | source``; what is missing is left empty."""
    way = {"out": "output", "in": "input", "?": "unclear"}
    found = []
    for row in rows:
        form, mark, said, *rest = [part.strip() for part in row.split("|")]
        signal, colour, source = (*rest, "", "", "")[:3]
        found.append(Seen(language, form, mark, way[said], signal, colour, source or "common practice"))
    return found


SEEN: Final = [
    *_seen(
        "English",
        "jack-3.5 | H-PHONE | out | headphone",
        "jack-3.5 | H/PHONE | out | headphone",
        "jack-3.5 | H.P. | out | headphone",
        "jack-3.5 | HP OUT | out | headphone",
        "jack-3.5 | PHONES/LINE OUT | out | headphone",
        "jack-3.5 | REMOTE OUT | out | not-audio",
        "jack-3.5 | TRIGGER OUT 12V | out | not-audio",
        "jack-3.5 | TRIG OUT | out | not-audio",
        "jack-3.5 | LINK OUT | out",
        "jack-3.5 | LOOP OUT | out",
        "jack-3.5 | IR OUT | out | not-audio",
        "jack-3.5 | SYSTEM OUT | out",
        "jack-3.5 | AUDIO FIXED | ?",
        "rca-pair | AUDIO FIXED | ?",
        "rca-pair | TO VCR | ?",
        "rca-pair | TO AMPLIFIER | out | analog-line",
        "rca-pair | AUDIO TO HIFI | out | analog-line",
        "rca-pair | FROM DVD | in",
        "rca-pair | AUDIO FROM PC | in",
        "rca-pair | PRE OUT | out | analog-line",
        "rca-pair | PREOUT | out | analog-line",
        "rca-pair | TAPE REC | out | analog-line",
        "rca-pair | TAPE PLAY | in",
        "rca-pair | LINEOUT | out | analog-line",
        "rca-pair | AUDIOOUT | out | analog-line",
        "rca-pair | HIFI OUT | out | analog-line",
        "rca-pair | ZONE 2 OUT | out | analog-line",
        "rca-pair | AUDIO GRUND | ?",
        "rca-single | OUT | out",
        "rca-single | DIG OUT | out | coaxial",
        "rca-single | DIGITAL OUT | out | coaxial | orange",
        "rca-single |  | ? | coaxial | orange | CTA-863",
        "rca-single | OUT | out | not-audio | yellow | CTA-863",
        "rca-single | OUT R | out | analog-line | red | CTA-863",
        "rca-single | OUT L | out | analog-line | white | CTA-863",
        "toslink | OPT. OUT | out | optical",
        "toslink | OPTICAL | ? | optical",
        "hdmi | HDMI 3 eARC | out | earc",
        "hdmi | HDMI1(ARC) | out | arc",
        "hdmi | eARC/ARC | out | earc",
        "hdmi | HDMI 2 (STB) | in",
        "jack-3.5 | AV IN | in",
        "jack-3.5 | SERVICE | ? | not-audio",
        "speaker-terminals | 100V LINE | out | speaker-level",
    ),
    *_seen(
        "worn",
        "rca-single | DIG..L OU | out | coaxial",
        "toslink | OPTI_AL OUT | out | optical",
        "rca-pair | AUD?O OUT | out | analog-line",
        "rca-pair | AUDIO O.T | ?",
        "rca-pair | AUDIO OU? | out | analog-line",
        "rca-pair | ...IO OUT | out | analog-line",
        "rca-pair | AUDIO ... | ?",
        "jack-3.5 | HEADPH... | out | headphone",
        "jack-3.5 | PHON.. | out | headphone",
        "jack-3.5 | ..... | ?",
        "hdmi | HDMI 2 (.RC) | out | arc",
        "rca-pair | AUDIO I? | in",
    ),
    *_seen(
        "German",
        "rca-pair | TON AUS | out | analog-line",
        "rca-pair | AUDIO AUS | out | analog-line",
        "rca-pair | NF-AUSGANG | out | analog-line",
        "rca-pair | AUSG. TON L/R | out | analog-line",
        "jack-3.5 | Kopfhörer | out | headphone",
        "jack-3.5 | KH | out | headphone",
        "rca-pair | TON EIN | in",
        "rca-pair | Vorverstärker-Ausgang | out | analog-line",
        "toslink | OPT. DIGITALAUSGANG | out | optical",
        "rca-single | AUSGANG LINKS | out | analog-line | white",
        "rca-single | AUSGANG RECHTS | out | analog-line | red",
        "speaker-terminals | Lautsprecher 4-8 Ohm | out | speaker-level",
        "jack-3.5 | FERNBEDIENUNG | ? | not-audio",
    ),
    *_seen(
        "French",
        "rca-pair | SORTIE SON | out | analog-line",
        "rca-pair | SORTIE AUDIO G/D | out | analog-line",
        "jack-3.5 | PRISE CASQUE | out | headphone",
        "jack-3.5 | ÉCOUTEURS | out | headphone",
        "toslink | SORTIE NUM. OPT. | out | optical",
        "rca-pair | ENTRÉE AUDIO | in",
        "speaker-terminals | HAUT-PARLEURS | out | speaker-level",
        "scart | PÉRITEL | out | analog-line | | IEC 60933-1",
        "rca-pair | VERS AMPLI | out | analog-line",
        "rca-single | SORTIE D | out | analog-line | red",
    ),
    *_seen(
        "Spanish",
        "rca-pair | SALIDA AUDIO | out | analog-line",
        "rca-pair | SAL. AUDIO I/D | out | analog-line",
        "jack-3.5 | CASCOS | out | headphone",
        "toslink | SALIDA ÓPTICA | out | optical",
        "rca-pair | ENTRADA DE AUDIO | in",
        "speaker-terminals | ALTAVOCES | out | speaker-level",
        "rca-pair | A GRABADORA | out | analog-line",
    ),
    *_seen(
        "Italian",
        "rca-pair | USCITA AUDIO | out | analog-line",
        "rca-pair | AUDIO USCITA SX/DX | out | analog-line",
        "jack-3.5 | CUFFIA | out | headphone",
        "jack-3.5 | CUFFIE | out | headphone",
        "toslink | USCITA DIGITALE OTTICA | out | optical",
        "rca-pair | INGRESSO AUDIO | in",
        "speaker-terminals | ALTOPARLANTI | out | speaker-level",
        "rca-single | USC. COASSIALE | out | coaxial",
    ),
    *_seen(
        "Dutch",
        "rca-pair | AUDIO UIT | out | analog-line",
        "rca-pair | GELUIDSUITGANG | out | analog-line",
        "jack-3.5 | HOOFDTELEFOON | out | headphone",
        "jack-3.5 | KOPTELEFOON | out | headphone",
        "toslink | OPTISCHE UITGANG | out | optical",
        "rca-pair | AUDIO-INGANG | in",
        "speaker-terminals | LUIDSPREKERS | out | speaker-level",
    ),
    *_seen(
        "Portuguese",
        "rca-pair | SAÍDA DE ÁUDIO | out | analog-line",
        "jack-3.5 | AUSCULTADORES | out | headphone",
        "jack-3.5 | FONE DE OUVIDO | out | headphone",
        "toslink | SAÍDA ÓTICA | out | optical",
        "rca-pair | ENTRADA ÁUDIO | in",
        "rca-pair | SAÍDA DE SOM E/D | out | analog-line",
    ),
    *_seen(
        "Polish",
        "rca-pair | WYJŚCIE AUDIO | out | analog-line",
        "rca-pair | WYJ. AUDIO L/P | out | analog-line",
        "jack-3.5 | SŁUCHAWKI | out | headphone",
        "toslink | WYJŚCIE OPTYCZNE | out | optical",
        "rca-pair | WEJŚCIE AUDIO | in",
        "speaker-terminals | GŁOŚNIKI | out | speaker-level",
    ),
    *_seen(
        "Czech",
        "rca-pair | VÝSTUP AUDIO | out | analog-line",
        "jack-3.5 | SLUCHÁTKA | out | headphone",
        "toslink | OPTICKÝ VÝSTUP | out | optical",
        "rca-pair | VSTUP AUDIO | in",
        "rca-single | VÝSTUP ZVUKU P | out | analog-line | red",
    ),
    *_seen(
        "Swedish",
        "rca-pair | LJUD UT | out | analog-line",
        "rca-pair | LJUDUTGÅNG V/H | out | analog-line",
        "jack-3.5 | HÖRLURAR | out | headphone",
        "toslink | OPTISK UTGÅNG | out | optical",
        "rca-pair | LJUD IN | in",
        "speaker-terminals | HÖGTALARE | out | speaker-level",
    ),
    *_seen(
        "Danish",
        "rca-pair | LYD UD | out | analog-line",
        "rca-pair | LYDUDGANG | out | analog-line",
        "jack-3.5 | HOVEDTELEFON | out | headphone",
        "toslink | OPTISK UDGANG | out | optical",
        "rca-pair | LYD IND | in",
        "speaker-terminals | HØJTTALER | out | speaker-level",
    ),
    *_seen(
        "Turkish",
        "rca-pair | SES ÇIKIŞI | out | analog-line",
        "jack-3.5 | KULAKLIK | out | headphone",
        "toslink | OPTİK ÇIKIŞ | out | optical",
        "rca-pair | SES GİRİŞİ | in",
        "speaker-terminals | HOPARLÖR | out | speaker-level",
    ),
    *_seen(
        "Japanese",
        "rca-pair | 音声出力 | out | analog-line",
        "jack-3.5 | ヘッドホン | out | headphone",
        "toslink | 光デジタル音声出力 | out | optical",
        "rca-pair | 音声入力 | in",
        "rca-single | 出力 右 | out | analog-line | red",
        "rca-single | 映像出力 | out | not-audio | yellow | CTA-863",
    ),
    *_seen(
        "Russian",
        "rca-pair | АУДИО ВЫХОД | out | analog-line",
        "rca-pair | ЗВУК. ВЫХ. Л/П | out | analog-line",
        "jack-3.5 | НАУШНИКИ | out | headphone",
        "toslink | ОПТ. ВЫХОД | out | optical",
        "rca-pair | АУДИО ВХОД | in",
        "speaker-terminals | ГРОМКОГОВОРИТЕЛЬ | out | speaker-level",
        "rca-pair | ВЫХ. НЧ | out | analog-line",
    ),
    *_seen(
        "Finnish",
        "rca-pair | ÄÄNILÄHTÖ | out | analog-line",
        "rca-pair | ÄÄNI ULOS | out | analog-line",
        "rca-pair | ÄÄNITULO | in",
        "jack-3.5 | KUULOKKEET | out | headphone",
        "toslink | OPTINEN LÄHTÖ | out | optical",
    ),
    *_seen(
        "Hungarian",
        "rca-pair | HANGKIMENET | out | analog-line",
        "rca-pair | HANG BEMENET | in",
        "jack-3.5 | FEJHALLGATÓ | out | headphone",
        "toslink | DIGITÁLIS OPTIKAI KIMENET | out | optical",
        "speaker-terminals | HANGSZÓRÓK | out | speaker-level",
    ),
    *_seen(
        "Greek",
        "rca-pair | ΕΞΟΔΟΣ ΗΧΟΥ | out | analog-line",
        "rca-pair | Έξοδος ήχου | out | analog-line",
        "rca-pair | ΕΙΣΟΔΟΣ ΗΧΟΥ | in",
        "jack-3.5 | ΑΚΟΥΣΤΙΚΑ | out | headphone",
    ),
    *_seen(
        "Romanian",
        "rca-pair | IEȘIRE AUDIO | out | analog-line",
        "rca-pair | INTRARE AUDIO | in",
        "jack-3.5 | CĂȘTI | out | headphone",
    ),
    *_seen(
        "Chinese",
        "rca-pair | 音频输出 | out | analog-line",
        "rca-pair | 音频输入 | in",
        "rca-pair | 音頻輸出 | out | analog-line",
        "jack-3.5 | 耳机 | out | headphone",
        "toslink | 光纤输出 | out | optical",
    ),
    *_seen(
        "Korean",
        "rca-pair | 음성 출력 | out | analog-line",
        "rca-pair | 오디오 입력 | in",
        "jack-3.5 | 헤드폰 | out | headphone",
        "toslink | 광 디지털 음성 출력 | out | optical",
        "toslink | 디지털음성출력 | out | optical",
    ),
    *_seen(
        "rings",
        "jack-3.5 |  | out | headphone | green | PC 99 System Design Guide",
        "jack-3.5 |  | in |  | blue | PC 99 System Design Guide",
        "jack-3.5 |  | in |  | pink | PC 99 System Design Guide",
        "jack-3.5 |  | out | not-audio | orange | PC 99 System Design Guide",
        "jack-3.5 |  | out | not-audio | grey | PC 99 System Design Guide",
        "jack-3.5 |  | ? |  | black | common practice: most jacks are black",
        "jack-3.5 |  | ? |  | white",
        "jack-3.5 | PC AUDIO IN | in |  | green | common practice: the mark outranks the ring",
        "jack-3.5 | AUDIO | in |  | green | common practice: the mark outranks the ring",
        "jack-3.5 | HEADPHONE | out | headphone | black",
        "jack-3.5 | A?D?? ... | ? |  | green | common practice: a worn mark may say IN",
        "rca-single |  | ? | not-audio | grey | CTA-863",
        "rca-single |  | ? | not-audio | brown | CTA-863",
        "rca-single |  | ? | not-audio | tan | CTA-863",
    ),
]  # fmt: skip
