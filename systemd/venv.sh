# shellcheck shell=sh
# How a virtual environment is made from requirements.lock, for .ci/setup and systemd/install.sh, which source this.

say() { printf 'evenwater: %s\n' "$*"; }
fail() { say "$@" >&2; exit 1; }

quietly() { # show what a command printed only if it failed
    log=$(mktemp)
    if "$@" >"$log" 2>&1; then rm -f "$log"; else cat "$log" >&2; rm -f "$log"; return 1; fi
}

need_python() { # PYTHON, how to name another: fail unless it is 3.11 or newer
    command -v "$1" >/dev/null 2>&1 ||
        fail "no $1 here; install Python 3.11 or newer: sudo apt-get install python3 python3-venv"
    version=$("$1" -c 'import sys; print("%d.%d.%d" % sys.version_info[:3])')
    "$1" -c 'import sys; sys.exit(sys.version_info < (3, 11))' ||
        fail "$1 is Python $version, but 3.11 or newer is needed; name another: $2"
}

can_make_venvs() { # PYTHON
    "$1" -c 'import ensurepip, venv' 2>/dev/null
}

pip_in() { # VENV, words of pip install
    venv=$1
    shift
    "$venv/bin/python" -m pip --disable-pip-version-check --no-input install -q "$@"
}

install_locked() { # VENV, lock file: its packages but the pin library, which only a Pi needs
    awk '/^[a-z]/ { pi = /^lgpio==/ } !pi' "$2" >"$1/base.lock"
    say "installing $(grep -c '^[a-z]' "$1/base.lock") packages (a minute or two; longer on a Pi)"
    quietly pip_in "$1" --require-hashes -r "$1/base.lock" || fail "could not install the packages of requirements.lock (see above): is there a network, and room on the disk? On a 32-bit Pi two are compiled: sudo apt-get install build-essential python3-dev"
}

install_pins() { # VENV, lock file: the pin library, where there may be pins; whether that went well
    case $(uname -s)-$(uname -m) in Linux-aarch64 | Linux-armv7l | Linux-armv6l) ;; *) return 0 ;; esac
    awk '/^[a-z]/ { pi = /^lgpio==/ } pi' "$2" >"$1/pi.lock"
    quietly pip_in "$1" --require-hashes -r "$1/pi.lock"
}

# shellcheck disable=SC2034 # for those who source this
TO_BUILD_PINS="sudo apt-get install swig python3-dev liblgpio-dev"
