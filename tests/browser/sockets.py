"""Watches which addresses a process is connected to, from Linux's own tables."""

from __future__ import annotations

import ipaddress
import threading
from pathlib import Path

_TABLES = ("tcp", "tcp6", "udp", "udp6")
_LISTENING = "0A"


class SocketWatch:
    """Looks at a process's sockets every 50 ms; `foreign` are remote addresses not on this machine."""

    def __init__(self, pid: int) -> None:
        self._proc = Path(f"/proc/{pid}")
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._watch, daemon=True)
        self.seen: set[str] = set()

    @property
    def foreign(self) -> set[str]:
        """Remote addresses that are neither loopback nor unset."""
        return {text for text in self.seen if not _is_here(ipaddress.ip_address(text))}

    def __enter__(self) -> SocketWatch:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join()

    def _watch(self) -> None:
        while not self._stop.wait(0.05):
            try:
                self._look()
            except OSError:  # the process ended between two looks
                return

    def _look(self) -> None:
        own = set()
        for link in (self._proc / "fd").iterdir():
            try:
                own.add(str(link.readlink()))
            except FileNotFoundError:  # closed while we looked
                continue
        for table in _TABLES:
            for line in (self._proc / "net" / table).read_text().splitlines()[1:]:
                fields = line.split()
                if f"socket:[{fields[9]}]" in own and fields[3] != _LISTENING:
                    self.seen.add(_address(fields[2].partition(":")[0]))


def _address(kernel_hex: str) -> str:
    """Each group of eight hex digits is a 32-bit word in the machine's byte order."""
    words = [bytes.fromhex(kernel_hex[i : i + 8])[::-1] for i in range(0, len(kernel_hex), 8)]
    return str(ipaddress.ip_address(b"".join(words)))


def _is_here(address: ipaddress.IPv4Address | ipaddress.IPv6Address) -> bool:
    mapped = getattr(address, "ipv4_mapped", None) or address
    return bool(mapped.is_loopback or mapped.is_unspecified)
