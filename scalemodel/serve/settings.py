"""What a server is started with."""

from __future__ import annotations

import socket
from dataclasses import dataclass
from pathlib import Path

from scalemodel.errors import RecordClashError

HERE = ("127.0.0.1", "localhost", "[::1]")
EVERYWHERE = "0.0.0.0"
PORT = 8765


@dataclass(frozen=True)
class Settings:
    """How a server is run.

    Attributes
    ----------
    logbook : Path
    folder : Path or None
        The user's folder, for answers and paired devices; None keeps them in memory.
    port : int
        0 takes any that is free.
    lan : bool
        Whether it listens to the local network, rather than to this machine alone.
    read_only : bool
        Whether no route may write.
    behind_proxy : bool
        Whether a proxy on this machine stands before it, which speaks TLS.
    hosts : tuple of str
        More names by which it is reached.
    pairing : bool
        Whether devices are paired; only a server for this machine alone may do without.
    """

    logbook: Path
    folder: Path | None = None
    port: int = PORT
    lan: bool = False
    read_only: bool = False
    behind_proxy: bool = False
    hosts: tuple[str, ...] = ()
    pairing: bool = True

    def check(self) -> Settings:
        """The same, if it can be run; RecordClashError for an open network without pairing."""
        if not self.pairing and (self.lan or self.behind_proxy):
            raise RecordClashError("whoever is in the network could write", "keep pairing on where others can reach it")
        return self

    @property
    def bound_to(self) -> str:
        """The address that it listens at."""
        return EVERYWHERE if self.lan else HERE[0]

    def names(self) -> frozenset[str]:
        """Every name or address by which it may be called."""
        own = {name.lower() for name in self.hosts}
        if self.lan:
            host = socket.gethostname().lower()
            own |= {host, f"{host.split('.')[0]}.local", lan_address()}
        return frozenset({*HERE, *own})

    def called(self) -> str:
        """The name that an address for people holds."""
        if self.hosts:
            return self.hosts[0]
        return lan_address() if self.lan else HERE[0]


def lan_address() -> str:
    """This machine's address in its network, this machine's own where it has none; nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # an address for documents (RFC 5737): only the way to it is looked up
            return probe.getsockname()[0]
        except OSError:
            return HERE[0]
