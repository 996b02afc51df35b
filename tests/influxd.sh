#!/bin/sh
# Builds the InfluxDB server that the tests start, once, with the machine's own Go and whatever
# proxy that is set up for: influxd.sh PROGRAM [if-possible]. Without a Go it says what to install;
# that is a failure, unless `if-possible` is given and CI is not true.
set -eu

program=$1
version=v1.8.10
[ -x "$program" ] && exit 0

if command -v go >/dev/null 2>&1; then
    mkdir -p "$(dirname "$program")"
    folder=$(cd "$(dirname "$program")" && pwd)
    echo "building influxd $version (once; a minute or two)"
    GOBIN=$folder go install "github.com/influxdata/influxdb/cmd/influxd@$version" && exit 0
    echo "influxd could not be built; what Go says stands above." >&2
else
    echo "The tests of the archive on InfluxDB need a Go to build influxd with." >&2
    echo "Install it as root:  apt-get install --no-install-recommends golang-go" >&2
fi
if [ "${2:-}" = if-possible ] && [ "${CI:-}" != true ]; then
    echo "They are skipped." >&2
    exit 0
fi
exit 1
