package main

// environment is every environment variable that the program looks at, and what for.
// A test holds it against the source.
var environment = []struct{ name, meaning string }{
	{"XDG_DATA_HOME", "where the directory `turnwright` with searches, tables and defined puzzles is, unless --data names one; `~/.local/share` if it is not set"},
	{"XDG_CACHE_HOME", "where a worker keeps `turnwright/tables` of a server on another host, unless --cache names a directory; `~/.cache` if it is not set"},
	{"XDG_CONFIG_HOME", "where `turnwright/config.yaml` with the servers is; `~/.config` if it is not set"},
	{"TURNWRIGHT_SERVER", "the server to ask, by its name in the configuration or its address, unless --server names one"},
	{"TURNWRIGHT_TOKEN", "the token to send, whatever the configuration says"},
	{"GOMAXPROCS", "how many cores are used, and so how many workers a server has by default; all that the process may use if it is not set"},
}
