#!/usr/bin/env bash
# Has a program make a small data directory, kills it in the middle of a search,
# and packs what it left:
#
#	testdata/storage/make.sh PROGRAM OUT.tar.gz
#
# Only state/ is packed, and the holes of Badger's files are not; tables are a
# cache. When a schema ends, run this with the last program that writes it.
set -euo pipefail
program=$(realpath "$1") out=$(realpath -m "$2")
scratch=$(mktemp -d)
server=
finish() {
	[[ -z $server ]] || kill -9 "$server" 2>/dev/null || true
	rm -rf "$scratch"
}
trap finish EXIT
cd "$scratch"

cat >lantern.yaml <<'YAML'
name: lantern
aliases: [lamp]
solid: tetrahedron
axes:
  - at: faces
    cuts: ["1/3"]
YAML

"$program" serve --data data --listen 127.0.0.1:0 --workers 1 --memory 64MiB >address 2>log &
server=$!
until grep -q serving address; do sleep 0.1; done
address=$(awk '{ print $3 }' address)
say() { "$program" "$@" --server "$address"; }
proven() { say searches --output json | grep "\"searches/$1\"" | grep -o '"provenLength":[0-9]*' | cut -d: -f2; }
wait_for() { # until the search has proven a length
	until (($(proven "$1") >= $2)); do :; done
}
cycles=(submit --puzzle lantern --cycle edge)

say define lantern.yaml
# Deleted, and its name given again.
say "${cycles[@]}" --max 8 --id night
say watch night >/dev/null 2>&1
say delete night
# Done: cycles with several sequences for each class, and all solutions of a position.
say "${cycles[@]}" --each 3 --slack 1 --max 9 --id night
say watch night >/dev/null 2>&1
say submit solve --puzzle lamp --scramble "[a1, a2] a3 b" --max 9 --all --id home
say watch home >/dev/null 2>&1
# Rounds that have closed: on a puzzle of few positions, and on one whose scrambles are random words.
for round in lantern 4x4x4; do
	say announce --puzzle "$round" --attempts 2 --closes 1h --id "past-$round"
	say close "past-$round" --reason "for the archive"
done
# Cancelled and paused on the way, and one that goes on when the process dies.
say "${cycles[@]}" --max 16 --memory 1MiB --id dropped
wait_for dropped 11
say cancel dropped
say submit solve --puzzle 3x3x3 --scramble "R2 F' D L' U2 B R D' F2 L U' B2" --metric obtm --max 13 --memory 2MiB --id held
wait_for held 10
say pause held
say "${cycles[@]}" --each 2 --slack 1 --max 13 --memory 1MiB --id running
wait_for running 12
sleep 0.3
kill -9 "$server"
server=
tar --create --sparse --format=gnu --sort=name --owner=0 --group=0 --numeric-owner --directory data state | gzip -9n >"$out"
