"""One visit to the outside watch: a process of its own, `python -m relayd.supervision.visit`.

It reads {"address": "https://…", "ca": null, "limit": 15} from its standard input, since an address
on a command line could be read by everybody, and writes {"status": 204} or {"why": "…"}. A name
server, a handshake or a service that hangs takes no more down than this process: who started it
ends it. No redirection is followed: the secret is for that one address.
"""

import http.client
import json
import socket
import ssl
import sys
from typing import Any
from urllib.parse import urlsplit

AGENT = "relayd"


def visit(address: str, ca: str | None, limit: float) -> dict[str, object]:
    """Get it once: the status, or why there is none. Nothing of the address is in the answer."""
    parts = urlsplit(address)
    host, port = parts.hostname or "", parts.port
    link: http.client.HTTPConnection
    if parts.scheme == "https":
        trust = ssl.create_default_context(cafile=ca)
        link = http.client.HTTPSConnection(host, port, timeout=limit, context=trust)
    else:
        link = http.client.HTTPConnection(host, port, timeout=limit)
    path = f"{parts.path or '/'}{'?' + parts.query if parts.query else ''}"
    try:
        link.request("GET", path, headers={"User-Agent": AGENT, "Connection": "close"})
        return {"status": link.getresponse().status}
    finally:
        link.close()


def asked(text: str) -> dict[str, object]:
    """The answer to one question."""
    order: dict[str, Any] = json.loads(text)
    try:
        return visit(order["address"], order["ca"], order["limit"])
    except TimeoutError:
        return {"why": "no answer in time"}
    except ssl.SSLError as error:
        return {"why": f"not reached: {error.reason or 'TLS failed'}".replace("_", " ").lower()}
    except (socket.gaierror, ConnectionError, OSError) as error:
        return {"why": f"not reached: {error.strerror or type(error).__name__}".lower()}
    except (http.client.HTTPException, ValueError) as error:
        return {"why": f"not understood: {type(error).__name__}"}


if __name__ == "__main__":
    sys.stdout.write(json.dumps(asked(sys.stdin.read())) + "\n")
