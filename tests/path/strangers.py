"""Forty panels of invented makes, each with the answer that a good technician gives.

The answers were written down before the program was asked. Where no source is named, an answer is common
practice. ``jack`` counts from 1; ``MIC`` is a microphone at the loudspeaker, ``NONE`` no path.
"""

from __future__ import annotations

from typing import Any, Final, NamedTuple

MIC: Final = "microphone"
NONE: Final = "no path"


class Stranger(NamedTuple):
    """One panel, what the driver takes, and the answer.

    ``uses`` and ``never``: items that must be in the path, and must not. ``says``: words that must be in its
    steps, cautions, questions or reasons.
    """

    name: str
    jacks: list[dict[str, Any]]
    inputs: list[str]
    jack: int | str
    uses: tuple[str, ...]
    never: tuple[str, ...]
    says: tuple[str, ...]
    more: dict[str, Any]


def _jacks(rows: str) -> list[dict[str, Any]]:
    """A jack a line: ``form | mark | field=value, field=value``."""
    found = []
    for row in rows.strip().splitlines():
        form, mark, *rest = (part.strip() for part in row.split("|"))
        fields = dict(pair.strip().split("=") for pair in (rest[0].split(",") if rest and rest[0] else ()))
        found.append(
            {"form": form, "marking": mark, **fields, **({"taken": True} if "taken" in fields else {})}
        )
    return found


def _of(
    name: str,
    rows: str,
    jack: int | str,
    *uses: str,
    inputs: str = "line-3.5",
    never: str = "",
    says: str = "",
    **more: Any,
) -> Stranger:
    def split(words: str) -> tuple[str, ...]:
        return tuple(word.strip() for word in words.split(";") if word.strip())

    return Stranger(name, _jacks(rows), inputs.split(), jack, uses, split(never), split(says), more)


STRANGERS: Final = [
    # -- televisions, several languages ----------------------------------------------------------------
    _of(
        "Orvel L32, German",
        """
        toslink | DIGITALER TONAUSGANG (OPT.)
        jack-3.5 | KOPFHÖRER
        hdmi | HDMI 1 (ARC)
        hdmi | HDMI 2
        """,
        1, "DAC", says="PCM",
    ),
    _of(
        "Brellon 26, French",
        """
        rca-pair | ENTRÉE AUDIO G/D
        rca-pair | SORTIE AUDIO (FIXE)
        jack-3.5 | CASQUE
        """,
        2, "RCA pair to 3.5 mm cable 2 m", never="DAC",
    ),
    _of(
        "Sandoro S40, Spanish",
        """
        rca-pair | SALIDA DE AUDIO (VARIABLE)
        toslink | SALIDA ÓPTICA
        jack-3.5 | AURICULARES
        """,
        2, "optical cable 2 m", inputs="line-rca optical", never="DAC",
    ),
    _of(
        "Kestovar 22, Turkish",
        """
        toslink | DİJİTAL SES ÇIKIŞI
        rca-pair | SES GİRİŞİ
        """,
        1, "DAC",
    ),
    _of(
        "Wislan 32, Polish",
        """
        rca-pair | WEJŚCIE AUDIO L/P
        rca-pair | WYJŚCIE AUDIO L/P
        """,
        2, inputs="line-rca", never="DAC",
    ),
    _of(
        "Zarya-T 54, Russian, a tube set",
        """
        rca-pair | АУДИО ВЫХОД
        jack-3.5 | НАУШНИКИ
        scart | AV
        """,
        1, says="open", display="tube",
    ),
    _of(
        "Hoshimi 32, Japanese",
        """
        rca-pair | 音声入力
        rca-pair | 音声出力
        jack-3.5 | ヘッドホン
        """,
        2,
    ),
    _of(
        "Lumikko 37, Finnish",
        """
        rca-pair | ÄÄNITULO
        rca-pair | ÄÄNILÄHTÖ
        jack-3.5 | KUULOKKEET
        """,
        2,
    ),
    _of(
        "Tavaska 20, Hungarian",
        """
        jack-3.5 | FEJHALLGATÓ
        rca-pair | HANGKIMENET
        rca-pair | HANG BEMENET
        """,
        2,
    ),
    _of(
        "Thalion 28, Greek",
        """
        rca-pair | ΕΞΟΔΟΣ ΗΧΟΥ
        rca-pair | ΕΙΣΟΔΟΣ ΗΧΟΥ
        jack-3.5 | ΑΚΟΥΣΤΙΚΑ
        """,
        1,
    ),
    _of(
        "Yunhe 43, Chinese",
        """
        rca-pair | 音频输入
        rca-pair | 音频输出
        jack-3.5 | 耳机
        """,
        2,
    ),
    _of(
        "Haneul 50, Korean",
        """
        toslink | 광 디지털 음성 출력
        jack-3.5 | 헤드폰
        hdmi | HDMI 1
        """,
        1, "DAC",
    ),
    _of(
        "Fjordal 24, Norwegian, left and right single",
        """
        rca-single | LYD UT V | colour=white
        rca-single | LYD UT H | colour=red
        rca-single | VIDEO INN | colour=yellow
        """,
        1, inputs="line-rca", says="red plug",
    ),
    # -- worn and combined marks ------------------------------------------------------------------------
    _of(
        "Quillard 40, the print half gone",
        """
        toslink | DIG.. AU... OUT
        jack-3.5 | H..DPHONE
        """,
        1, "DAC",
    ),
    _of(
        "Quillard 42, a letter gone",
        """
        rca-pair | AUDIO O?T
        rca-pair | AUDIO IN
        """,
        1,
    ),
    _of(
        "Quillard 46, the word that counts is gone",
        """
        rca-pair | AUDIO ...
        jack-3.5 | 🎧
        """,
        2, says="marked AUDIO ... an output",
    ),
    _of(
        "Mirvane 55, line and optical in one jack",
        """
        jack-3.5 | LINE / OPTICAL OUT
        hdmi | HDMI 1
        """,
        1, "3.5 mm cable 2 m", never="DAC",
    ),
    _of(
        "Mirvane 49, headphones and line in one jack",
        """
        jack-3.5 | H/P / AUDIO OUT
        hdmi | HDMI 1
        """,
        1, "3.5 mm cable 2 m", says="silence",
    ),
    _of(
        "Mirvane 32, OPTICAL and no word more",
        """
        toslink | OPTICAL
        jack-3.5 | ♫ 🎧
        """,
        2, says="glow red",
    ),
    _of(
        "Ostrander 19, a green ring and no mark, beside a computer socket",
        """
        d-sub | PC
        jack-3.5 |  | colour=green
        jack-3.5 | PC AUDIO | colour=blue
        """,
        2, "3.5 mm cable 2 m",
        says="output",  # PC 99 System Design Guide: lime green is the line or headphone output
    ),
    # -- boxes with one HDMI only ---------------------------------------------------------------------
    _of(
        "Tessarin stream box, HDMI is all it has",
        """
        hdmi | HDMI
        usb | USB
        rj45 | LAN
        """,
        1, "HDMI audio extractor", kind="set-top-box", says="only what is watched",
    ),
    _of(
        "Tessarin disc player, driver with an optical input",
        """
        hdmi | HDMI OUT
        usb | USB
        """,
        1, "HDMI audio extractor", "optical cable 2 m", inputs="optical", never="DAC", kind="player",
    ),
    _of(
        "Pellow satellite box, SCART and HDMI",
        """
        hdmi | HDMI
        scart | TV
        antenna | LNB IN
        """,
        2, "SCART to RCA pair adapter", kind="set-top-box", never="HDMI audio extractor",
    ),
    _of(
        "Pellow mini box, one 3.5 mm AV jack",
        """
        hdmi | HDMI OUT
        jack-3.5 | AV OUT
        """,
        2, "4-pole AV lead", kind="set-top-box", says="wiring",
    ),
    # -- hotel sets -------------------------------------------------------------------------------------
    _of(
        "Harborne H32, hotel set with a bathroom speaker",
        """
        rj45 | DATA
        jack-3.5 | SPEAKER OUT 8Ω
        hdmi | HDMI 1
        """,
        2, "speaker-to-line converter", never="3.5 mm cable 2 m",
    ),
    _of(
        "Harborne H40, hotel set",
        """
        rj45 | GAME/SERVICE
        hdmi | HDMI 2 (ARC)
        jack-3.5 | H/P OUT
        rca-pair | AV IN
        """,
        3, says="silence",
    ),
    _of(
        "Harborne H55, hotel set with ARC only, nobody needs the speakers",
        """
        rj45 | EXT. CONTROL
        hdmi | HDMI 1 (ARC)
        jack-3.5 | RS-232C
        """,
        2, "ARC extractor", speakers_needed=False,
    ),
    # -- projectors and monitors ------------------------------------------------------------------------
    _of(
        "Vantreux P1, projector",
        """
        d-sub | COMPUTER IN
        jack-3.5 | AUDIO IN
        jack-3.5 | AUDIO OUT
        hdmi | HDMI
        """,
        3, "3.5 mm cable 2 m", display="projector",
    ),
    _of(
        "Vantreux P2, projector",
        """
        jack-3.5 | VARIABLE AUDIO OUT
        jack-3.5 | TRIGGER 12V
        hdmi | HDMI
        """,
        1, "3.5 mm cable 2 m", says="follows the remote", display="projector",
    ),
    _of(
        "Delmarc M24, monitor with no speakers",
        """
        hdmi | HDMI
        other | DP
        jack-3.5 | 🎧
        """,
        3, "3.5 mm cable 2 m", speakers_needed=False,
    ),
    # -- what the driver takes --------------------------------------------------------------------------
    _of(
        "Orvel L19, line output and a driver that takes digital only",
        """
        rca-pair | AUDIO OUT
        hdmi | HDMI
        """,
        1, "ADC", inputs="optical",
    ),
    _of(
        "Brunel laptop, its sound jack broken",
        """
        usb | USB
        jack-3.5 | 🎧 | outcome=silent
        """,
        1, "USB audio adapter", kind="computer", speakers_needed=False,
    ),
    _of(
        "Sandoro S43, a driver with Bluetooth",
        """
        bluetooth |
        hdmi | HDMI 1
        """,
        1, inputs="bluetooth", speakers_needed=False, says="late",
    ),
    _of(
        "Orvel L40, a driver with a balanced 6.35 mm input",
        """
        rca-pair | AUDIO OUT
        """,
        1, inputs="line-6.35-balanced", never="3.5 mm socket to 6.35 mm plug adapter",
    ),
    # -- length, shares, formats ------------------------------------------------------------------------
    _of(
        "Orvel L50, soundbar on the optical output, driver five metres away",
        """
        toslink | OPTICAL OUT | taken=yes
        hdmi | HDMI 1
        """,
        1, "powered optical splitter", inputs="optical", length_m=5, says="surround",
    ),
    _of(
        "Kirkmoor chapel, the amplifier's rack 40 m from the driver",
        """
        rca-pair | REC OUT
        terminal-block | 100V 70V 4Ω COM
        """,
        1, "low-delay wireless pair", kind="receiver", length_m=40,
    ),
    _of(
        "Orvel L60, optical that sends a bitstream",
        """
        toslink | OPTICAL OUT | format=bitstream
        hdmi | HDMI 1
        """,
        1, "decoding DAC", inputs="line-rca", says="offer PCM",
    ),
    _of(
        "Grundholm 70, a German set with a tape socket",
        """
        din-5 | TONBAND
        jack-6.35 | KOPFHÖRER
        """,
        1, "record-wired DIN lead", says="open", display="tube",
    ),
    # -- no acceptable output ---------------------------------------------------------------------------
    _of(
        "Mirvane 24, headphones that mute, and Bluetooth",
        """
        jack-3.5 | HEADPHONE | speakers=mute
        bluetooth |
        """,
        MIC, "microphone", inputs="line-3.5 mic",
    ),
    _of(
        "Tonbrae bar, a soundbar",
        """
        toslink | OPTICAL IN
        hdmi | HDMI OUT (TV eARC)
        jack-3.5 | AUX
        """,
        NONE, kind="soundbar", says="television itself",
    ),
]  # fmt: skip
