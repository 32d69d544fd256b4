"""What mosquitto has to be told for one box: listener, users, and who may read and write which topics."""

from __future__ import annotations

from config.settings import Mqtt

CONFIGURATION, ACL, PASSWORDS = "evenwater.conf", "acl", "passwd"
CA_KEY, CA, BROKER_KEY, BROKER = "ca.key", "ca.pem", "broker.key", "broker.pem"
PANEL, WATCH = "panel", "watch"
PORT = 8883  # MQTT over TLS, as registered with IANA (service name secure-mqtt)
HOME = "/etc/mosquitto/evenwater"  # where the broker reads its files from; Debian's mosquitto.conf has the rest
LARGEST_PACKET = 65_536  # bytes; one above it costs its sender the connection

_CONFIGURATION = """\
# A broker for the box "{box}", made by `evenwater broker`. Belongs into /etc/mosquitto/conf.d/, beside Debian's
# own mosquitto.conf, which says where retained messages and the log are kept.
listener {port}
cafile {home}/ca.pem
certfile {home}/broker.pem
keyfile {home}/broker.key
{who}
acl_file {home}/acl
max_packet_size {largest}
persistence true
autosave_interval 60
"""

_BY_PASSWORD = "allow_anonymous false\npassword_file {home}/passwd"
BY_CERTIFICATE = "require_certificate true"
_BY_CERTIFICATE = f"allow_anonymous false\n{BY_CERTIFICATE}\nuse_identity_as_username true"

_ACL = """\
# Who may read and write what. The box itself judges every command once more.
user {box}
topic readwrite {domain}/5/{box}/#

user panel
topic read {domain}/5/#
topic write {domain}/5/{box}/+/hold/set
topic write {domain}/5/{box}/box/request/set

user watch
topic read {domain}/5/#
"""


def users(box: str) -> tuple[str, str, str]:
    """Who may connect: the box under its device id, a panel that may ask, a watcher that only reads."""
    return box, PANEL, WATCH


def password_file(user: str) -> str:
    """The name of the file that holds one user's password and nothing else."""
    return f"password-{user}"


def certificate_files(user: str) -> tuple[str, str]:
    """The names of one user's certificate and its key."""
    return f"client-{user}.pem", f"client-{user}.key"


def configuration(box: str, *, certificates: bool = False) -> str:
    """Mosquitto's settings. persistence_location is Debian's: twice is an error.

    certificates: who somebody is says their certificate, in place of a password.
    """
    who = _BY_CERTIFICATE if certificates else _BY_PASSWORD.format(home=HOME)
    return _CONFIGURATION.format(box=box, port=PORT, home=HOME, largest=LARGEST_PACKET, who=who)


def goes_by_certificates(text: str) -> bool:
    """Whether a configuration asks for certificates, not for passwords."""
    return BY_CERTIFICATE in text.splitlines()


def acl(box: str, mqtt: Mqtt) -> str:
    """Mosquitto's access list. A topic that no line allows is refused."""
    return _ACL.format(box=box, domain=mqtt.domain)


def moved(text: str, folder: str, port: int) -> str:
    """The same configuration with its files in another folder, on another port of this machine only."""
    lines = [
        f"listener {port} 127.0.0.1" if line.startswith("listener ") else line.replace(HOME, folder)
        for line in text.splitlines()
    ]
    return "\n".join(lines) + "\n"
