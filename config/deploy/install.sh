#!/bin/sh
# Installs Warmcoil on a board, upgrades it, or takes it away; the keeper's data is never touched.
#
#   install.sh install | uninstall
#
# /opt/warmcoil/venv      the programs        /var/lib/warmcoil   the home: settings, book, readings
# /etc/systemd/system     the units           /etc/udev/rules.d   names of nodes on USB
#
# Installing again upgrades: the new programs are made beside the old ones and put in their place
# when they are whole. DESTDIR puts everything under another root, and then nothing is started.
set -eu

here=$(cd "$(dirname "$0")" && pwd)
source=$(cd "$here/../.." && pwd)
root=${DESTDIR:-}
programs=$root/opt/warmcoil
home=/var/lib/warmcoil
units="warmcoil-collect.service warmcoil-watch.service warmcoil-page.service warmcoil.target"

say() { printf '%s\n' "$*"; }
stop() { say "install: $*" >&2; exit 1; }
running() { [ -z "$root" ] && [ -d /run/systemd/system ]; }

check() {
    [ "$(id -u)" = 0 ] || stop "must be run as root: sudo make $1"
    [ "$1" = uninstall ] && return
    python=${PYTHON:-python3}
    "$python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null ||
        stop "Python 3.11 or newer is missing: apt-get install python3 python3-venv"
    "$python" -c 'import ensurepip, venv' 2>/dev/null ||
        stop "python3-venv is missing: apt-get install python3-venv"
}

# The programs are made under a name of their own and moved whole: a board that loses power half
# way keeps the old ones. Scripts in a venv name its path, so it is made where it will stand.
put_programs() {
    mkdir -p "$programs"
    [ -n "${WITHOUT_PROGRAMS:-}" ] && return
    new=$programs/venv-$(date +%Y%m%d%H%M%S)
    trap 'rm -rf "$new"' EXIT
    "$python" -m venv "$new"
    "$new/bin/pip" --disable-pip-version-check -q install --require-hashes -r "$source/requirements.lock"
    copy=$(mktemp -d)
    (cd "$source" && cp -r analysis collector config hardware pyproject.toml README.md LICENSE "$copy")
    "$new/bin/pip" --disable-pip-version-check -q install --no-deps --no-build-isolation "$copy"
    rm -rf "$copy"
    "$new/bin/warmcoil" --help >/dev/null || stop "the new programs do not run; nothing was changed"
    trap - EXIT
    old=$(readlink "$programs/venv" || true)
    ln -sfn "$(basename "$new")" "$programs/venv.next"
    mv -T "$programs/venv.next" "$programs/venv"
    [ -z "$old" ] || [ "$old" = "$(basename "$new")" ] || rm -rf "${programs:?}/$old"
}

put() { install -D -m "$1" "$here/$2" "$root$3"; }

put_files() {
    for unit in $units; do put 644 "$unit" "/etc/systemd/system/$unit"; done
    put 644 warmcoil.sysusers /etc/sysusers.d/warmcoil.conf
    put 644 60-warmcoil.rules /etc/udev/rules.d/60-warmcoil.rules
    install -D -m 644 "$source/README.md" "$programs/README.md"
    if [ -d "$root/etc/mosquitto/conf.d" ]; then
        [ -e "$root/etc/mosquitto/conf.d/warmcoil.conf" ] ||
            put 644 mosquitto/warmcoil.conf /etc/mosquitto/conf.d/warmcoil.conf.off
        [ -e "$root/etc/mosquitto/warmcoil.acl" ] || put 644 mosquitto/warmcoil.acl /etc/mosquitto/warmcoil.acl
    fi
}

put_home() {
    [ -n "$root" ] && return
    systemd-sysusers warmcoil.conf
    install -d -m 750 -o warmcoil -g warmcoil "$home"
    [ -e "$home/warmcoil.toml" ] ||
        setpriv --reuid=warmcoil --regid=warmcoil --clear-groups "$programs/venv/bin/warmcoil" init --home "$home"
    chown -R warmcoil:warmcoil "$home"  # one that root brought along from a backup
}

case ${1:-} in
install)
    check install
    put_programs
    put_files
    put_home
    if running; then
        systemctl daemon-reload
        udevadm control --reload 2>/dev/null || say "udev is not running: its rule holds from the next start"
        systemctl enable --now warmcoil.target warmcoil-collect warmcoil-watch warmcoil-page
        systemctl restart warmcoil-collect warmcoil-watch warmcoil-page
    fi
    say "Installed. The home is $home: write your probes into $home/warmcoil.toml, then"
    say "  systemctl restart warmcoil-collect warmcoil-watch warmcoil-page"
    ;;
uninstall)
    check uninstall
    if running; then
        systemctl disable --now warmcoil.target warmcoil-collect warmcoil-watch warmcoil-page 2>/dev/null || true
    fi
    for unit in $units; do rm -f "$root/etc/systemd/system/$unit"; done
    rm -f "$root/etc/udev/rules.d/60-warmcoil.rules" "$root/etc/sysusers.d/warmcoil.conf"
    rm -rf "${programs:?}"
    if running; then systemctl daemon-reload; fi
    say "Taken away. $home is as it was, and so is its user; delete them by hand if they are not wanted."
    ;;
*)
    say "usage: install.sh install | uninstall" >&2
    exit 2
    ;;
esac
