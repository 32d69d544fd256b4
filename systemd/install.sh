#!/bin/sh
# Evenwater as a service: put it on this machine, renew it, take it off. `--help` tells how.
set -eu
umask 022
here=$(cd "$(dirname "$0")" && pwd)
. "$here/venv.sh"
source=$(dirname "$here")

NEEDED_KB=300000 # the program with its packages, and the one before it beside it during an upgrade
PROGRAM=/opt/evenwater
SETTINGS=/etc/evenwater
STATE=/var/lib/evenwater
COMMAND=/usr/local/bin/evenwater
UNIT=/etc/systemd/system/evenwater.service
WATCHER=/etc/systemd/system/evenwater-watch.service
PAGE=/etc/systemd/system/evenwater-page.service
ACCOUNT=/etc/sysusers.d/evenwater.conf
FOLDERS=/etc/tmpfiles.d/evenwater.conf
DEVICES=/etc/udev/rules.d/60-evenwater.rules

usage() {
    cat <<'END'
usage: sudo sh systemd/install.sh [install | upgrade | uninstall] [options]

  install       (the default) the account and its groups, the program in /opt/evenwater, settings in /etc/evenwater,
                state in /var/lib/evenwater, the service. Done again, it changes only what is not as it should be.
  upgrade       the same from a newer checkout; settings and state stay as they are, a running service is restarted
  uninstall     take the service and the program off; settings, state and account stay

  --dry-run     say each step, do none
  --python P    the Python to use, 3.11 or newer (default: python3)
  --root DIR    work below this folder in place of /, without account and service manager: for a try
  --purge       with uninstall: settings, state (the ledger too) and account as well, once you have typed that

examples:
  sh systemd/install.sh --dry-run                 what would be done?
  sudo sh systemd/install.sh
  git pull && sudo sh systemd/install.sh upgrade
  sudo sh /opt/evenwater/systemd/install.sh uninstall
  sh systemd/install.sh --root "$(mktemp -d)"     a try that leaves this machine alone

Exit code: 0 fine, 1 it could not be done (with the next step), 2 used wrongly.
END
}

# What was asked for

misused() { say "$@" "(--help tells how)" >&2; exit 2; }
value_of() { # option, words that are left
    if [ "$#" -lt 2 ] || [ -z "$2" ]; then misused "$1 needs a value"; fi
}

asked="" python=python3 root="" dry="" purge="" in_root=""
while [ $# -gt 0 ]; do
    case $1 in
    install | upgrade | uninstall) [ -z "$asked" ] || misused "\"$asked\" and \"$1\": one at a time"; asked=$1 ;;
    --dry-run) dry=yes ;;
    --purge) purge=yes ;;
    --python) value_of "$@"; python=$2; shift ;;
    --root) value_of "$@"; in_root=yes root=$2; shift ;;
    -h | --help) usage; exit 0 ;;
    *) misused "\"$1\" is unknown" ;;
    esac
    shift
done
asked=${asked:-install}
[ -z "$purge" ] || [ "$asked" = uninstall ] || misused "--purge goes with uninstall"
if [ -n "$in_root" ]; then
    root=$(cd "$root" 2>/dev/null && pwd) || fail "--root: no such folder; make it first"
    [ "$root" != / ] || misused "--root / is this very machine: leave it out"
fi

# Steps: each is said, and done unless this is a dry run. One that would change nothing is passed over.

changes=0
act() { # what it is, command
    changes=$((changes + 1))
    if [ -n "$dry" ]; then say "would $1"; return 0; fi
    say "$1"
    what=$1
    shift
    "$@" || fail "could not $what (see above). Is the disk full or read-only? Look with: df -h \"$root/\". Then run this again: it goes on where it stopped"
}

live() { [ -z "$in_root" ]; } # this machine itself, with its service manager
mode_of() { stat -c 0%a "$1" 2>/dev/null; }
owner_of() { stat -c %U:%G "$1" 2>/dev/null; }

put() { # mode, file of ours, where
    if cmp -s "$2" "$root$3" && [ "$(mode_of "$root$3")" = "$1" ]; then return 0; fi
    act "write $3" write_file "$1" "$2" "$root$3"
}
write_file() { mkdir -p "$(dirname "$3")" && cp "$2" "$3.new" && chmod "$1" "$3.new" && mv "$3.new" "$3"; }

link() { # target, where
    [ "$(readlink "$root$2" || true)" = "$1" ] || act "point $2 to $1" write_link "$1" "$root$2"
}
write_link() { mkdir -p "$(dirname "$2")" && ln -sfn "$1" "$2.new" && mv -T "$2.new" "$2"; }

drop() { # where
    if [ -e "$root$1" ] || [ -L "$root$1" ]; then act "remove $1" rm -rf "$root$1"; fi
}

# What must be so before anything is done

need_root() {
    if live && [ -z "$dry" ] && [ "$(id -u)" != 0 ]; then
        fail "this needs root: sudo sh $0 $asked (or see what it would do: sh $0 $asked --dry-run)"
    fi
}
need_systemd() {
    live || return 0
    command -v systemctl >/dev/null 2>&1 || fail "no systemd on this machine; run the program by hand: make, then .venv/bin/evenwater run"
}
need_checkout() {
    [ -f "$source/pyproject.toml" ] ||
        fail "$source is no checkout of Evenwater: $asked needs one, as: cd evenwater && sudo sh systemd/install.sh $asked"
}
need_space() {
    place=$root/opt
    [ -d "$place" ] || place=$root/
    free_kb=$(df -Pk "$place" | awk 'NR == 2 { print $4 }')
    [ "${free_kb:-0}" -ge "$NEEDED_KB" ] ||
        fail "only ${free_kb:-0} kB free at $place, and $NEEDED_KB are needed; make room (sudo apt-get clean; df -h), then run this again"
}

# The program: each state of the checkout has a folder of its own, and .venv points to the one in use

new_version() { sed -n 's/^version = "\(.*\)"/\1/p' "$source/pyproject.toml"; }
old_version() { cat "$root$PROGRAM/.venv/version" 2>/dev/null || true; }
print_of_checkout() { # twelve letters that change with any file of the program, and with the Python it is for
    (
        cd "$source"
        "$python" -c 'import sys; print(sys.version)'
        find config daemon drivers sim_hw pyproject.toml requirements.lock -type f ! -path '*/__pycache__/*' \
            -exec sha256sum {} + | LC_ALL=C sort
    ) | sha256sum | cut -c 1-12
}

has_program() { [ -e "$root$PROGRAM/$current/version" ]; }

install_program() {
    has_program || act "install the program in $PROGRAM/$current" make_program "$root$PROGRAM/$current"
    put 0755 "$here/pumps-off" "$PROGRAM/systemd/pumps-off"
    put 0755 "$here/install.sh" "$PROGRAM/systemd/install.sh"
    put 0644 "$here/venv.sh" "$PROGRAM/systemd/venv.sh"
    link "$current" "$PROGRAM/.venv"
    link "$PROGRAM/.venv/bin/evenwater" "$COMMAND"
}
make_program() ( # where; a half-made one is taken away again
    trap 'rm -rf "$1"' EXIT
    rm -rf "$1"
    mkdir -p "$(dirname "$1")" || exit 1
    quietly "$python" -m venv "$1" || exit 1
    sed '/^# Only to develop:/,$d' "$source/requirements.lock" >"$1/requirements.lock"
    install_locked "$1" "$1/requirements.lock"
    install_pins "$1" "$1/requirements.lock" || fail "could not install lgpio, which drives the pins (see above). To build it: $TO_BUILD_PINS, then run this again"
    quietly pip_in "$1" --no-deps --no-build-isolation "$source" || fail "could not install the project itself (see above)"
    new_version >"$1/version" || exit 1
    trap - EXIT
)
drop_older_programs() {
    for folder in "$root$PROGRAM"/.venv-*; do
        [ ! -d "$folder" ] || [ "${folder##*/}" = "$current" ] || drop "$PROGRAM/${folder##*/}"
    done
}

# What stands around it

make_account() {
    put 0644 "$here/evenwater.sysusers.conf" "$ACCOUNT"
    if ! live; then say "no account is made below --root"; return 0; fi
    if ! in_groups; then act "make the accounts evenwater, in the groups gpio and i2c, and evenwater-page" systemd-sysusers "$ACCOUNT"; fi
}
in_groups() { # whether the accounts are there, and in theirs
    is_in evenwater gpio && is_in evenwater i2c && is_in evenwater-page evenwater
}
is_in() { # account, group
    case " $(id -Gn "$1" 2>/dev/null) " in *" $2 "*) ;; *) return 1 ;; esac
}

make_folders() { # what the tmpfiles lines name, so that it is there before the next start of the machine too
    put 0644 "$here/evenwater.tmpfiles.conf" "$FOLDERS"
    while read -r type path mode user group; do
        case $type in
        d) [ -d "$root$path" ] || act "make $path" mkdir -p "$root$path" ;;
        f) [ -e "$root$path" ] || act "make $path, empty" write_file "$mode" /dev/null "$root$path" ;;
        *) continue ;;
        esac
        [ "$(mode_of "$root$path")" = "$mode" ] || act "set the mode of $path to $mode" chmod "$mode" "$root$path"
        if live && [ "$(owner_of "$path")" != "$user:$group" ]; then
            act "give $path to $user" chown -R "$user:$group" "$path"
        fi
    done <"$here/evenwater.tmpfiles.conf"
}

make_settings() {
    [ -e "$root$SETTINGS/site.toml" ] || put 0644 "$source/config/rigs/pi-example.toml" "$SETTINGS/site.toml"
}

make_service() {
    put 0644 "$here/evenwater.udev.rules" "$DEVICES"
    put 0644 "$here/evenwater.service" "$UNIT"
    put 0644 "$here/evenwater-watch.service" "$WATCHER" # for who wants it: never enabled here
    put 0644 "$here/evenwater-page.service" "$PAGE"
}
tell_system() { # after a change: devices to their groups, the unit read anew, a running service restarted
    live && [ "$changes" -gt 0 ] || return 0
    act "have the devices set by their rules" renew_devices
    act "have the service manager read its units" systemctl daemon-reload
    for unit in evenwater evenwater-page evenwater-watch; do
        if systemctl is-active --quiet "$unit"; then act "restart $unit" restart "$unit"; fi
    done
}
renew_devices() {
    udevadm control --reload || return 0 # no udev in a container
    udevadm trigger --subsystem-match=gpio --subsystem-match=i2c-dev || true
}
restart() { # unit
    systemctl restart "$1" || {
        say "it did not start: journalctl -u $1 -n 50 says why"
        return 1
    }
}

# The three things to ask for

do_install() {
    need_root
    need_checkout
    need_systemd
    need_python "$python" "--python /usr/bin/python3.12"
    can_make_venvs "$python" || fail "$python lacks its venv part; install it, then run this again: sudo apt-get install python3-venv"
    before=$(old_version)
    if [ "$asked" = upgrade ] && [ -z "$before" ]; then
        fail "nothing to upgrade: Evenwater is not in $root$PROGRAM; install it: sudo sh $0 install"
    fi
    current=.venv-$(print_of_checkout)
    has_program || need_space
    make_account
    install_program
    make_folders
    make_settings
    make_service
    tell_system
    drop_older_programs
    sum_up
}

sum_up() {
    after=$(new_version)
    if [ "$changes" = 0 ]; then say "Evenwater $after is installed as it should be: nothing changed"; return 0; fi
    if [ -n "$dry" ]; then say "$changes steps; this was a dry run, nothing was done"; return 0; fi
    if [ -n "$before" ]; then say "Evenwater $before -> $after; settings and state are as they were"; return 0; fi
    say "Evenwater $after is installed, and not started yet. What comes next:"
    command -v gpioset >/dev/null 2>&1 || say "  sudo apt-get install gpiod           pumps are turned off with it when the program cannot"
    say "  sudo nano $SETTINGS/site.toml        your wiring, your water, your caps"
    say "  evenwater check $SETTINGS/site.toml  is it right, and can a pump be left on?"
    say "  sudo systemctl enable --now evenwater"
    say "  sudo adduser \"\$USER\" evenwater       then log in anew: you may ask and steer it"
    say "  sudo systemctl enable --now evenwater-page   a page to look at, on http://127.0.0.1:8460/ of this box"
}

do_uninstall() {
    need_root
    [ -z "$purge" ] || [ -n "$dry" ] || confirm_purge
    if live && [ -e "$PAGE" ]; then act "stop the page, and let it not start again" systemctl disable --now evenwater-page; fi
    if live && [ -e "$UNIT" ]; then act "stop the service, and let it not start again" systemctl disable --now evenwater; fi
    if live && [ -e "$WATCHER" ]; then act "stop the watcher" systemctl disable --now evenwater-watch; fi
    for path in "$UNIT" "$WATCHER" "$PAGE" "$DEVICES" "$FOLDERS" "$ACCOUNT" "$COMMAND" "$PROGRAM"; do drop "$path"; done
    if [ -n "$purge" ]; then
        drop "$SETTINGS"
        drop "$STATE"
        for account in evenwater-page evenwater; do
            if live && id "$account" >/dev/null 2>&1; then act "remove the account $account" userdel "$account"; fi
        done
    fi
    if [ "$changes" = 0 ]; then say "Evenwater is not installed: nothing changed"; return 0; fi
    if live; then act "have the service manager read its units" systemctl daemon-reload; fi
    if [ -n "$dry" ]; then say "$changes steps; this was a dry run, nothing was done"; return 0; fi
    [ -n "$purge" ] || say "kept: $SETTINGS, $STATE and the account evenwater (uninstall --purge removes them)"
}
confirm_purge() {
    printf 'evenwater: this removes %s and %s: settings, calibrations, and the ledger of every dose.\nType purge to go on: ' "$SETTINGS" "$STATE"
    read -r typed || typed=
    [ "$typed" = purge ] || fail "not typed: nothing was removed"
}

case $asked in
install | upgrade) do_install ;;
uninstall) do_uninstall ;;
esac
