"""How long does a paired phone wait while a hundred strangers are slow or silent?

    python3 scripts/measure.py strangers
    python3 scripts/measure_strangers.py --lines 400

The server is a process of its own with the demo book. Strangers and phone share this machine's address, the
worst place for a phone. Each kind of stranger has a run of its own, over plain HTTP and over TLS; beside it
stands the same phone without strangers. The aim is 100 ms (95th percentile). It stops by itself.
"""

from __future__ import annotations

import argparse
import datetime
import http.client
import json
import os
import socket
import ssl
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import urllib.parse
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from measure import demo, table

ASKS = 60
HEAD = b"GET /pair HTTP/1.1\r\nHost: 127.0.0.1\r\n"
FORM = b"POST /pair HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 200000\r\n\r\ncode="
FILES = b"GET /static/page.js HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n" * 40
#: What a stranger says at once, and whether a handshake comes before it.
KINDS = {
    "nobody": (b"", False),
    "silent": (b"", False),
    "half of a handshake or a request": (b"\x16\x03\x01", False),
    "headers without end": (HEAD + b"X-Slow: ", True),
    "a form without end": (FORM, True),
    "reads no answer": (FILES, True),
}


def main() -> int:
    """Print a table."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    asked.add_argument("--lines", type=int, default=100, help="strangers at once, 500 at most")
    lines = min(asked.parse_args().lines, 500)
    with tempfile.TemporaryDirectory() as folder:
        env = demo(folder)
        pem = certificate(Path(folder))
        rows = []

        for kind in KINDS:
            row = [kind]
            for tls in (False, True):
                took = measured(env, pem if tls else None, kind, lines)
                late = statistics.quantiles(took, n=20)[-1]
                row += [
                    f"{statistics.median(took) * 1000:.0f}",
                    f"{late * 1000:.0f}",
                    f"{max(took) * 1000:.0f}",
                ]
            rows.append(tuple(row))
    head = ("strangers", "plain: median", "95%", "most", "TLS: median", "95%", "most")
    table(f"milliseconds until a phone has its look-up, beside {lines} strangers", [head, *rows])
    return 0


def measured(env: dict[str, str], pem: Path | None, kind: str, count: int) -> list[float]:
    """Seconds that each look-up of the phone took; every second one on a new connection."""
    command = [sys.executable, "-m", "kb.cli.main", "serve", "--json", "--port", "0"]
    command += ["--cert", str(pem)] if pem else []
    server = subprocess.Popen(command, env=env, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    lines: list[socket.socket] = []
    ended = threading.Event()
    try:
        assert server.stdout is not None
        said = json.loads(server.stdout.readline())
        port = urllib.parse.urlsplit(said["url"]).port or 0
        trust = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        trust.check_hostname, trust.verify_mode = False, ssl.CERT_NONE
        ask = phone(port, said["code"], trust if pem else None)
        ask(False)  # from now on the line is a phone's
        begins, after_hello = KINDS[kind]
        for _ in range(count if kind != "nobody" else 0):
            with suppress(OSError):
                line = socket.create_connection(("127.0.0.1", port), timeout=10)
                if pem and after_hello:
                    line = trust.wrap_socket(line)
                line.sendall(begins)
                lines.append(line)

        def trickle() -> None:
            while not ended.wait(0.5):
                for line in list(lines):
                    try:
                        if begins:
                            line.send(b"a")
                    except OSError:
                        lines.remove(line)

        threading.Thread(target=trickle, daemon=True).start()
        took = []
        for number in range(ASKS):
            begun = time.perf_counter()
            ask(number % 2 == 1)
            took.append(time.perf_counter() - begun)
            time.sleep(0.05)
        return took
    finally:
        ended.set()
        server.terminate()
        server.wait(30)
        for line in lines:
            line.close()


def phone(port: int, code: str, trust: ssl.SSLContext | None) -> Callable[[bool], None]:
    """A paired phone's look-up, on its connection or on a new one."""
    made = (
        http.client.HTTPSConnection("127.0.0.1", port, timeout=120, context=trust)
        if trust
        else http.client.HTTPConnection("127.0.0.1", port, timeout=120)
    )
    made.request("POST", "/pair", f"code={code}", {"Content-Type": "application/x-www-form-urlencoded"})
    answer = made.getresponse()
    answer.read()
    cookie = (answer.getheader("Set-Cookie") or "").split(";")[0]

    def ask(anew: bool) -> None:
        if anew:
            made.close()
        made.request("GET", "/?part=1&q=nv40", headers={"Cookie": cookie})
        answer = made.getresponse()
        answer.read()
        if answer.status != 200:
            raise SystemExit(f"the phone was answered {answer.status}")

    return ask


def certificate(folder: Path) -> Path:
    """One for tests, with its key."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import NameOID

    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "van")])
    now = datetime.datetime.now(datetime.UTC)
    builder = x509.CertificateBuilder(name, name, key.public_key(), 1)
    builder = builder.not_valid_before(now).not_valid_after(now + datetime.timedelta(days=2))
    pem = serialization.Encoding.PEM
    bare = key.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    file = folder / "van.pem"
    with open(os.open(file, os.O_CREAT | os.O_WRONLY, 0o600), "wb") as out:
        out.write(builder.sign(key, hashes.SHA256()).public_bytes(pem) + bare)
    return file


if __name__ == "__main__":
    sys.exit(main())
