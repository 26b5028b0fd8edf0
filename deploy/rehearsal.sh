#!/usr/bin/env bash
# A rehearsal: a whole competition on this machine, from making members to printing the
# standings, and on the way the server is killed twice (SIGKILL).
#
#   deploy/rehearsal.sh [PROGRAM [DIRECTORY]]
#
# PROGRAM is turnwright unless it is named. All that comes of it goes into DIRECTORY, which
# must be new, or else into one that is removed at the end. It takes some seconds, tells
# what happens, and ends with status 1 at the first thing that is not as it should be.
#
# After each kill everybody looks at everything that they could see before, and has to see
# the same; what is sealed has to be sealed still, and clocks have to run on.
set -euo pipefail

if ! program=$(command -v "${1:-turnwright}"); then
	printf '%s: there is no such program; build it (go build ./cmd/turnwright) and name it: %s ./turnwright\n' "${1:-turnwright}" "$0" >&2
	exit 2
fi
program=$(realpath "$program")
if [[ -n ${2:-} ]]; then
	mkdir "$2"
	dir=$(realpath "$2")
else
	dir=$(mktemp -d)
fi
data=$dir/data
export XDG_CONFIG_HOME=$dir/config XDG_DATA_HOME=$dir/own
unset TURNWRIGHT_SERVER TURNWRIGHT_TOKEN
mkdir -p "$XDG_CONFIG_HOME/turnwright"
server='' # its process

finish() {
	local status=$?
	if [[ -n $server ]]; then
		kill -TERM "$server" || true
		wait "$server" || true
	fi
	((status == 0)) || sed 's/^/server: /' "$dir/server.log" >&2
	[[ -n ${2:-} ]] || rm -rf "$dir"
}
trap 'finish "$@"' EXIT

say() { printf '\n== %s\n' "$*"; }
fail() {
	printf 'not as it should be: %s\n' "$*" >&2
	exit 1
}

# The server, on a port that it has again after each start.

port=$((10000 + RANDOM % 20000))
while (exec 3<>"/dev/tcp/127.0.0.1/$port") 2>/dev/null; do
	((port += 1)) # somebody answers at that one
done
fingerprint=''

start() {
	"$program" serve --data "$data" --listen "127.0.0.1:$port" --tls-self-signed --require-tokens \
		--member-rate 1000 --workers 1 --memory 64MiB --reserve 64MiB --json >"$dir/hello" 2>>"$dir/server.log" &
	server=$!
	local hello='' known
	read -r hello <"$dir/hello" || fail "the server does not start"
	known=$(text fingerprint <<<"$hello")
	[[ -n $known && ${fingerprint:=$known} == "$known" ]] || fail "another certificate: $hello"
}

killed() {
	local status=0
	kill -KILL "$server"
	wait "$server" 2>>"$dir/server.log" || status=$?
	server=''
	((status == 128 + 9)) || fail "the server had ended by itself, with status $status"
}

# Members are servers in the configuration: the same one, each with a token of their own.

member() { # NAME TOKEN
	printf '  %s: {address: "127.0.0.1:%d", fingerprint: "%s", token: "%s"}\n' "$1" "$port" "$fingerprint" "$2" >>"$XDG_CONFIG_HOME/turnwright/config.yaml"
}

as() { "$program" "${@:2}" --server "$1"; } # NAME VERB …

# refused runs a verb that has to end with a status, and say something on either output.
refused() { # STATUS TEXT NAME VERB …
	local status=0 said
	said=$(as "${@:3}" 2>&1) || status=$?
	((status == $1)) || fail "${*:3} ends with status $status and not $1: $said"
	[[ $said == *"$2"* ]] || fail "${*:3} does not say \"$2\": $said"
}

# text and number take the first field of a name out of a line of JSON.
text() { sed -n "s/.*\"$1\":\"\([^\"]*\)\".*/\1/p" | head -n 1; }
number() { sed -n "s/.*\"$1\":\([0-9]*\).*/\1/p" | head -n 1; }

# seen is all that everybody can see.
seen() {
	local who
	for who in olga anna bert carl dora; do
		echo "$who:"
		as "$who" rounds --json
		as "$who" round "$round" --json # with their clocks, and what they handed in
		as "$who" entries "$round" --json
		as "$who" views "$round" --json
		as "$who" records --json
		as "$who" standings "$round" --json 2>&1 || true # refused before it closes
	done
	as olga audit --json
	as olga member list --json
}

# same holds what everybody sees now against what they saw before, but for lines that have
# a word in them.
same() { # [WORD]
	seen >"$dir/after"
	diff <(grep -v "${1:-^$}" "$dir/before") <(grep -v "${1:-^$}" "$dir/after") >&2 || fail "not everybody sees what they saw before"
	echo "All that everybody saw is there: $(wc -l <"$dir/after") lines."
}

# sealed holds: of anna's entries nobody else learns anything, nor does whoever takes the
# server's disk.
sealed() {
	local who
	for who in olga bert carl dora; do
		refused 3 'that you may see' "$who" entries "$round" anna-1
		refused 2 'sealed' "$who" standings "$round"
		refused 2 'sealed' "$who" verify "$round"
		[[ $(as "$who" entries "$round" --json) != *members/anna* ]] || fail "$who sees anna's entries"
	done
	grep -rqF "$title" "$data" || fail "the data directory can't be looked through for a text"
	! grep -rqF "$secret" "$data" || fail "anna's explanation can be read in the data directory"
	echo "Anna's entries are sealed."
}

round=lantern-cup
title="Lantern cup"
secret="a pair of corners first, marked heliotrope"
mkfifo "$dir/hello"

say "Members are made."
(umask 077 && echo 'servers:' >"$XDG_CONFIG_HOME/turnwright/config.yaml")
olga=$("$program" member add olga --role organiser --data "$data" 2>/dev/null)
start
member olga "$olga"
for who in anna bert carl dora; do
	token=$(as olga member add "$who" 2>/dev/null)
	member "$who" "$token"
done
as olga member list

say "A round is announced, and opened."
as olga announce --puzzle 2x2x2 --id "$round" --title "$title" --format mean --brackets --max 80 --opens 2h --closes 5h
commitment=$(as anna round "$round" --json | text commitment)
refused 5 'not for the role' anna amend "$round" --opens 1h
refused 2 "$round opens" anna scramble "$round" --attempt 1 --start
as olga amend "$round" --opens "$(date -u +%FT%TZ)" >"$dir/opened"

say "Scrambles are shown, and clocks begin."
declare -A scramble short
for n in 1 2 3; do
	scramble[$n]=$(as anna scramble "$round" --attempt $n --start)
	for who in bert carl; do
		shown=$(as "$who" scramble "$round" --attempt $n --start 2>/dev/null)
		[[ $shown == "${scramble[$n]}" ]] || fail "$who has another scramble than anna: $shown"
	done
	short[$n]=$("$program" solve --puzzle 2x2x2 --scramble "${scramble[$n]}" --metric obtm --max 11 --memory 64MiB --json 2>/dev/null | text sequence)
done
as dora scramble "$round" --attempt 1 --start
refused 2 'say --start' dora scramble "$round" --attempt 2

say "Solutions are handed in."
# Anna's are as short as can be, and she tells how she came by them. Bert turns one face to
# and fro before he finds the same. Carl undoes the scramble.
for n in 1 2 3; do
	read -ra moves <<<"${short[$n]}"
	printf '%s\n%s // the pair\n%s // all the rest\n' "$secret" "${moves[*]:0:3}" "${moves[*]:3}" >"$dir/explanation"
	as anna enter "$round" --attempt $n "${short[$n]}" --explanation "$dir/explanation" >>"$dir/entered"
	printf "R R' // no, that was nothing\n%s\n" "${short[$n]}" >"$dir/solution"
	as bert enter "$round" --attempt $n "@$dir/solution" >>"$dir/entered"
done
refused 2 'DNF: ' carl enter "$round" --attempt 1 "R ? U" --check
as carl enter "$round" --attempt 1 "(${scramble[1]})'" >>"$dir/entered"
as carl enter "$round" --attempt 2 "R" # does not solve it, and is replaced
as carl enter "$round" --attempt 2 "(${scramble[2]})'"
as dora enter "$round" --attempt 1 "R U" >>"$dir/entered"
as anna entries "$round" anna-1
sealed

say "The server is killed while dora hands in one draft after another."
drafts() {
	local n=1
	while as dora enter "$round" --attempt 1 "R U" >>"$dir/entered" 2>>"$dir/dora.log"; do
		echo $((n += 1))
	done
}
seen >"$dir/before"
exec 3< <(drafts)
for _ in 1 2 3; do read -r acknowledged <&3; done
killed
while read -r n <&3; do acknowledged=$n; done # until nobody takes them any more
exec 3<&-
start
same dora
kept=$(as dora entries "$round" --json | number revision)
((kept == acknowledged || kept == acknowledged + 1)) || fail "$acknowledged of dora's drafts were acknowledged, and $kept are there"
echo "Of dora's drafts $acknowledged were acknowledged, and $kept are there."
sealed
[[ $(as anna scramble "$round" --attempt 1 2>/dev/null) == "${scramble[1]}" ]] || fail "anna is shown another scramble"
as carl enter "$round" --attempt 3 "(${scramble[3]})' R" # in his time, which began before

say "The round closes, an entry is corrected, and the server is killed again."
refused 5 'not for the role' bert close "$round" --reason "I have handed in"
as olga close "$round" --reason "all have handed in"
refused 2 'has closed' anna enter "$round" --attempt 1 "${short[1]}"
as olga correct "$round" carl-2 --dnf --reason "WCA Regulation E2e: the scramble undone"
seen >"$dir/before"
as olga correct "$round" carl-1 --again --reason "carl asked for it" >>"$dir/entered"
killed
start
same carl-1
as bert entries "$round" carl-1
[[ $(as bert entries "$round" carl-1) == *"carl asked for it"* ]] || fail "a correction is lost"

say "The scrambles follow from the seed, to which the server was bound before."
as anna verify "$round" --here --commitment "$commitment"

say "The standings are exported."
as bert standings "$round"
as bert standings "$round" --csv >"$dir/standings.csv"
as bert standings "$round" --json >"$dir/standings.json"
as bert standings "$round" --sheet "$dir/standings.pdf"
as bert standings "$round" --sheet "$dir/standings.svg"

# What has to be in them follows from how long the solutions are.
length() { wc -w <<<"$1"; }
row() { # PLACE MEMBER LENGTH LENGTH LENGTH, with the best and the mean, to hundredths
	local best hundredths=$(((200 * ($3 + $4 + $5) + 3) / 6))
	best=$(printf '%d\n' "${@:3}" | sort -n | head -n 1)
	printf '%d,%s,%d,%d,%d,%d,%d.%02d\n' "$@" "$best" $((hundredths / 100)) $((hundredths % 100))
}
one=$(length "${short[1]}") two=$(length "${short[2]}") three=$(length "${short[3]}") carls=$(length "${scramble[1]}")
{
	echo place,member,attempt1,attempt2,attempt3,best,mean
	row 1 anna "$one" "$two" "$three"
	row 2 bert $((one + 2)) $((two + 2)) $((three + 2))
	echo "3,carl,$carls,DNF,DNF,$carls,DNF"
	echo 4,dora,DNF,DNS,DNS,DNF,DNF
} | diff - <(cut -d , -f 1-7 "$dir/standings.csv") >&2 || fail "the standings are others"
[[ $(grep -c '"standing"' "$dir/standings.json") == 4 ]] || fail "standings.json"
[[ $(head -c 5 "$dir/standings.pdf") == %PDF- ]] || fail "standings.pdf"
grep -q '>dora<' "$dir/standings.svg" || fail "standings.svg"

say "The server is stopped, and all that it kept is looked through."
kill -TERM "$server"
wait "$server" || fail "the server ends with status $?"
server=''
"$program" check --data "$data" 2>/dev/null

say "All is as it should be."
