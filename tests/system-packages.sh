#!/bin/sh
# The Debian packages that the tests use for real. Installs what is missing where it may, and
# otherwise says exactly what to install.
set -eu

missing=
need() { command -v "$1" >/dev/null 2>&1 || [ -x "/usr/sbin/$1" ] || missing="$missing $2"; }
need mosquitto mosquitto
need mosquitto_pub mosquitto-clients
need openssl openssl
need systemd-analyze systemd
need chromium chromium
need strace strace
# MicroPython comes as a wheel (pyproject.toml); where there is none, Debian has it from 13 on. The
# node's tests are skipped without it.
if [ ! -x .venv/bin/micropython ] && apt-cache show micropython >/dev/null 2>&1; then
    need micropython micropython
fi
[ -z "$missing" ] && exit 0

if command -v apt-get >/dev/null 2>&1; then
    if [ "$(id -u)" = 0 ]; then as=; elif sudo -n true 2>/dev/null; then as=sudo; else as=no; fi
    if [ "$as" != no ]; then
        echo "installing:$missing"
        $as apt-get update -qq
        # policy-rc.d is not touched: a broker that Debian starts on its own port is not ours and
        # does not disturb, the tests start their own on a free one.
        # shellcheck disable=SC2086  # one word per package is meant
        DEBIAN_FRONTEND=noninteractive $as apt-get install -y -qq --no-install-recommends $missing
        exit 0
    fi
fi
echo "The tests need these Debian packages:$missing" >&2
echo "Install them as root:  apt-get install --no-install-recommends$missing" >&2
exit 1
