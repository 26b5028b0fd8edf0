package main

import (
	"strings"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

// The API's names of what flags set, where a message can begin with one: who typed
// --max should not read search.max_length.
var flagOf = map[string]string{
	"search_id":                  "--id",
	"search.max_length":          "--max",
	"search.memory_bytes":        "--memory",
	"search.metric":              "--metric",
	"search.sequences_per_class": "--each",
	"search.priority":            "--priority",
	"search.stop_time":           "--stop-at",
	"search.core_budget":         "--core-budget",
	"priority":                   "--priority",
	"stop_time":                  "--stop-at",
	"core_budget":                "--core-budget",
	"search.slack":               "--slack",
	"search.before":              "--before",
	"search.after":               "--after",
	"search.goal.cycle":          "--cycle",
	"search.goal.shape":          "--shape",
	"search.goal.axes":           "--axes",
	"search.goal.protect":        "--protect",
	"search.goal.ignore":         "--ignore",
	"search.goal.pins":           "--pin",
	"search.goal.core":           "--core",
	"search.position.scramble":   "--scramble",
	"search.position.pins":       "--pin",
	"search.position.ignore":     "--ignore",
	"search.position.all":        "--all",
	"goal.cycle":                 "--cycle",
	"goal.protect":               "--protect",
	"goal.ignore":                "--ignore",
	"goal.metric":                "--metric",
	"goal.core":                  "--core",
	"sequences":                  "--sequence",
	"pins":                       "--pin",
	"places":                     "--places",
	"limit":                      "--limit",
	"before":                     "--before",
	"after":                      "--after",
	"metric":                     "--metric",
	"scramble":                   "--scramble",
	"solution":                   "--solution",
	"insertions":                 "--insertions",
	"cycles":                     "--cycle",
	"beam":                       "--beam",
	"shorten_time":               "--shorten",
	"prove_time":                 "--prove",
	"members":                    "--members",
	"goal.shape":                 "--shape",
	"goal.axes":                  "--axes",
	"token.expire_time":          "--expires",
	"member.role":                "--role",
	"part":                       "--part",
	"max_length":                 "--turns",
	"first_length":               "--first",
	"best_only":                  "--best",
	"second_length":              "--second",
	"title":                      "--title",
	"width":                      "--width",
	"scene.projection":           "--as",
	"scene.from":                 "--from",
	"scene.right":                "--turn",
	"scene.up":                   "--turn",
	"scene.tilt":                 "--turn",
	"scene.arrows":               "--arrows",
	"scene.pale":                 "--pale",
	"scene.highlight":            "--highlight",
	"scene.mark":                 "--mark",

	"round_id":          "--id",
	"round.puzzle":      "--puzzle",
	"round.title":       "--title",
	"round.metric":      "--metric",
	"round.format":      "--format",
	"round.attempts":    "--attempts",
	"round.open_time":   "--opens",
	"round.close_time":  "--closes",
	"round.time_limit":  "--time-limit",
	"round.max_length":  "--max",
	"round.content":     "--brackets",
	"round.members":     "--members",
	"attempt":           "--attempt",
	"entry.attempt":     "--attempt",
	"entry.explanation": "--explanation",
	"reason":            "--reason",

	"search.study.scramble":     "--scramble",
	"search.study.solution":     "--solution",
	"search.study.shorten_time": "--shorten",
	"search.study.seed":         "--seed",

	"search.structure":               "--parts",
	"search.structure.first_length":  "--parts",
	"search.structure.second_length": "--parts",
	"search.structure.third_length":  "--parts",
	"search.structure.setup_length":  "--setup",
}

// explain puts an error into words for people who typed a command.
func explain(err error) string {
	text := client.Explain(err)
	if field, rest, ok := strings.Cut(text, ": "); ok && flagOf[field] != "" {
		return flagOf[field] + ": " + rest
	}
	if client.Reason(err) == turnwrightv1.ErrorReason_ERROR_REASON_PUZZLE_NOT_FOUND {
		return text + ": \"turnwright puzzles\" lists those that there are"
	}
	return text
}
