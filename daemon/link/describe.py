"""What the box says over MQTT, for people: docs/mqtt.md, by running this module.

Its table of topics is made of the very description that the box publishes, its lists of what the gate's own.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from config.settings import Mqtt
from daemon.broker import texts
from daemon.link import gate, homie, wire
from daemon.link.causes import ENDS_SOON
from daemon.link.fleet import HEARTBEATS_MISSED
from daemon.link.session import LEAST_BETWEEN_S
from daemon.values import (
    CapUse,
    Condition,
    Priority,
    Quality,
    Quantity,
    Reading,
    ReservoirState,
    Role,
    Sample,
    State,
    Verdict,
    VerdictReason,
)

PAGE = Path(__file__).parents[2] / "docs" / "mqtt.md"
NAME = "NAME"  # a reservoir of the settings
_IGNORED = {
    gate.Ignored.RETAINED: "sent to be kept: the broker would repeat it at every connection",
    gate.Ignored.TOO_LARGE: f"more than {gate.LARGEST} bytes",
    gate.Ignored.MALFORMED: "not written as above, or to another topic; `hold` says anything but `true`",
    gate.Ignored.LATE: "not with the nonce of just now",
    gate.Ignored.REPLAYED: "an id that was used before, also before a restart",
    gate.Ignored.TOO_SOON: f"less than {gate.BETWEEN_S:g} s after the last accepted one",
    gate.Ignored.UNSIGNED: "`release` without the right signature of a named controller",
}

HEAD = """\
# The box on MQTT

Made by `python -m daemon.link.describe`; not edited by hand.

MQTT 5, one device by the Homie 5 convention (homieiot/convention, commit 063301d). All topics stand below
`DOMAIN/5/DEVICE`: `[mqtt] domain` (homie) and `[site] device_id` of the settings. Reservoirs are nodes of the
one device, not devices of their own: a connection has one last will, so only one `$state` can be true when the
box dies.

## Reading it

| topic | kept by the broker | says |
|---|---|---|
| `$state` | yes | `init`, `ready`, `disconnected` (stopped by a person), `lost` (the last will) |
| `$description` | yes | one JSON object: each node and property, with unit and format; the same while `ready` |
| `$alert/ID` | yes, gone when it is over | an alarm that calls somebody, in words; ID begins with {priorities} |
| `NODE/PROPERTY` | as the table says | its value |

`ready` is no sign of life: a broker keeps it for ever. `box/heartbeat` counts passes and is sent by the pass
itself, each `[mqtt] heartbeat_s`; a box whose heartbeat has stood still for {missed} of them is hung.
`box/sampled-at` dates all that came before it. Values go out when they change, at most each {between:g} s;
nothing waits for a broker that is away, so that the first thing it hears is of just now. The history is on the
box (`evenwater export`).

A value that becomes unknown keeps its last text, and its `-verdict` says `bad`: the verdict goes out first. A
value that was never known is not declared.

"""

COMMANDS = """\

## Asking it something

| topic | what | who may |
|---|---|---|
| `NAME-dosing/hold/set` | `true`: dosing of that reservoir is paused | anyone whom the broker lets in |
| `box/request/set` | `ack`, `shelve`, `unshelve` | the same, with the nonce |
| `box/request/set` | `release`: dosing goes on after a hold | who `[mqtt] release_controllers` names |

Nothing else can be asked for. No message clears a lock, changes a cap or a calibration, or turns a pump. What
is released doses under the same caps as ever. `hold` is acknowledged by its own value; the others by
`box/result`: `{{"id": ..., "accepted": ..., "said": ...}}`, which nobody keeps.

A command is one JSON object of at most {largest} bytes, sent not to be kept, at QoS 0:

    {{"id": "7f3a", "nonce": "0c5e...", "do": "ack", "keys": ["bed1-ph-probe"]}}
    {{"id": "7f3b", "nonce": "91d0...", "do": "shelve", "key": "bed1-ph-calibration", "hours": 8.0}}
    {{"id": "7f3c", "nonce": "a77b...", "do": "unshelve", "keys": ["bed1-ph-calibration"]}}
    {{"id": "7f3d", "nonce": "35c2...", "do": "release", "reservoir": "bed1", "controller": "panel",
     "signature": "HMAC-SHA256 of: 7f3d 35c2... release bed1"}}

- `id`: letters, digits, `-` and `_`, at most 64; each serves once. `nonce`: what `box/nonce` shows just then;
  it serves once and changes each {nonce_s:g} s, so that nothing recorded can be replayed, with no clock to
  trust.
- `ack` without `keys` means all that stand. Acknowledging silences and clears nothing; `shelve` is for alarms
  of low priority.
- `signature`: HMAC-SHA256 (RFC 2104) in hex, by the controller's key, over `id nonce do reservoir` with one
  space between. The key is in a credential `key-NAME` of the service, at least 32 bytes: `openssl rand -hex
  32`. By default nobody may release.

Not acted on, and counted; {many} within {lately_min:g} minutes raise the alarm `commands`:

"""

TAIL = """\

## The broker

Any broker that speaks MQTT 5. `evenwater broker FOLDER --settings FILE` makes and proves a mosquitto for the
box; with `--certificates` each user has a certificate in place of a password.

- **TLS**: `[mqtt] tls_ca_file` names the certificate that signed the broker's; set, TLS is used, and the
  broker's authority and name are always checked. A broker that asks for a certificate gets the box's own:
  `client_certificate_credential` and `client_key_credential` name the files below $CREDENTIALS_DIRECTORY. The
  settings never hold a password or a key. Each refusal is told with what to do: `evenwater alarms`, alarm
  `broker`. "Not valid yet" means that the box's clock is behind; {ends_days} days before the broker's
  certificate ends, alarm `certificate`.
- **The service reaches this machine only**: its unit says IPAddressDeny=any. For a broker elsewhere: `sudo
  systemctl edit evenwater`, and below `[Service]`: `IPAddressAllow=192.0.2.10`, the broker's address; with a
  name, its name server's too. Credentials beside the password are named there as well:
  `LoadCredential=mqtt-client-key:/etc/evenwater/mqtt-client-key`.
- **Who may what**, as `evenwater broker` writes it for the device DEVICE. A panel cannot write a value or a
  state, so it cannot make a box look well that is not; a watcher only reads.

{acl}
- **One name for one box**: two with one `device_id` are noticed (alarm `same-id`); both go on dosing by
  themselves.

## What a broker can do, and cannot

Whoever owns the broker, or breaks into it, can keep alerts from a phone, show a phone values that are not true,
and ask for `hold`. They cannot make the box dose: no message moves a pump, and a release needs a key that the
broker does not have. That alerts do not arrive is noticed: each day a test alert has to be taken, a refused one
raises an alarm, and `[signal]`, a lamp or buzzer at the box, is on while a grave alarm is unheard or the broker
is away. That phones are shown what is not true is not noticed by the box: look at the box itself in doubt
(`evenwater status`, `evenwater page`).

Without a broker everything goes on by the box's own rules. Packets above {packet} bytes are never sent.

## Somebody who notices that the box is gone

On the broker's machine, or any other, `evenwater watch --host BROKER --expect DEVICE` tells when a box is gone
(its last will), hung (`ready`, and no heartbeat) or silent (never heard), of alerts of high priority, and when
it hears nothing itself. `--exec` runs a program at each change; `--urls` sends it by other services.

As a service: the installer puts evenwater-watch.service in place and enables nothing. Write what it is to watch
into /etc/evenwater/watch.conf, the password into /etc/evenwater/watch-password, then `sudo systemctl enable
--now evenwater-watch`:

    WATCH=--host broker.local --port {port} --user watch --ca-file /etc/evenwater/ca.pem --expect quince-lane

## Other ways out

`[notify] enabled = true` sends alerts by services besides MQTT: those that the library apprise knows, which
also says how an address of each is written. The addresses are secrets, one a line, in
/etc/evenwater/notify-urls (mode 0600, root's), which the service gets by its drop-in:
`LoadCredential=notify-urls:/etc/evenwater/notify-urls`. A service on the internet changes its addresses, so its
drop-in then also needs `IPAddressAllow=any`; that opens the way for the whole program. Where that is too much,
let `evenwater watch --urls` on another machine send them.

Which priorities, how many an hour and a day, quiet hours: [settings.md](settings.md). Alarms that come together
are one message; half of what an hour and a day may have is kept for grave ones. Each message goes by a process
of its own with a time limit; what got out nowhere is tried again for as long as it takes, at most once an hour.
Where no way works: alarm `ways-out`, and the lamp at the box. Try them: `evenwater notify --help`.
"""


def page() -> str:
    """docs/mqtt.md."""
    return "".join(
        (
            HEAD.format(priorities=_priorities(), missed=HEARTBEATS_MISSED, between=LEAST_BETWEEN_S),
            "\n".join(topics()) + "\n",
            COMMANDS.format(
                largest=gate.LARGEST,
                nonce_s=gate.NONCE_S,
                many=gate.MANY,
                lately_min=gate.LATELY_S / 60.0,
            ),
            "\n".join(f"- `{reason.value}`: {_IGNORED[reason]}" for reason in gate.Ignored) + "\n",
            TAIL.format(acl=_acl(), packet=wire.LARGEST_PACKET, port=texts.PORT, ends_days=ENDS_SOON.days),
        )
    )


def topics() -> Iterator[str]:
    """The lines of the table of all properties, made of a description that has every one of them."""
    yield "| topic | says | type | unit | format | kept | to be set |"
    yield "|---|---|---|---|---|---|---|"
    everything = example()
    known = homie.values(everything).keys() | {homie.NONCE}
    for node, declared in homie.description("", everything, known, version=0)["nodes"].items():
        for name, each in declared["properties"].items():
            yield _line(f"{node}/{name}", each)


def _line(topic: str, declared: Mapping[str, Any]) -> str:
    form = str(declared.get("format", "")).replace(",", ", ")
    if form.endswith(":"):  # only a lower end
        form = f"from {form[:-1]}"
    form = form.replace(":", " to ")
    kept = "yes" if declared.get("retained", True) else "no"
    to_be_set = "yes" if declared.get("settable") else ""
    said = (declared["name"], declared["datatype"], declared.get("unit", ""), form, kept, to_be_set)
    return f"| `{topic}` | {' | '.join(said)} |"


def example() -> State:
    """A state of a box with every probe and pump that there is, all of it known."""
    utc = datetime(2026, 3, 1, tzinfo=UTC)
    reservoir = ReservoirState(
        name=NAME,
        title=NAME,
        condition=Condition.KEEPING,
        condition_reason="",
        condition_until=None,
        verdicts={quantity: _good(quantity) for quantity in Quantity},
        bands={},
        waiting_for="",
        last_doses=(),
        last_decision=None,
        caps={role: CapUse(0.0, 0.0, 0.0, 0.0, 0.0) for role in Role},
        deficit_kpa=1.0,
        daily_light_mol=1.0,
    )
    return State(1, 0.0, utc, utc, "", {NAME: reservoir}, (), "")


def _good(quantity: Quantity) -> Verdict:
    reading = Reading(quantity, 1.0, 0.0, Sample(quantity, 0.0, 0.0))
    return Verdict(quantity, Quality.GOOD, VerdictReason.FINE, reading)


def _priorities() -> str:
    return ", ".join(f"`{homie.PRIORITY[priority]}-` ({priority.value})" for priority in Priority)


def _acl() -> str:
    """The access list without its remark, set off as text of a file."""
    lines = texts.acl("DEVICE", Mqtt()).splitlines()
    return "\n".join(f"      {line}".rstrip() for line in lines if not line.startswith("#")) + "\n"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
    print(f"written: {PAGE}")
