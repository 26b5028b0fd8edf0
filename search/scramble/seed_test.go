package scramble

import (
	"encoding/hex"
	"strings"
	"testing"
)

const testSeed = "000102030405060708090a0b0c0d0e0f101112131415161718191a1b1c1d1e1f"

func seedOf(t *testing.T, text string) Seed {
	t.Helper()
	s, err := ParseSeed(text)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// The sums were computed with the commands in the comments of Commit and Key, that without a way
// with the line that Committed has for it (sha256sum of GNU coreutils).
func TestSumsThatAShellTells(t *testing.T) {
	s := seedOf(t, testSeed)
	for way, want := range []string{
		Unnumbered: "3238054414a81b8c697875c35cdfac9b90610533cb73258a59f3b655e4999ed2",
		1:          "b59d3a14102557429bea082aa84c33083dc8b19ff7a8e695906fe4d3e12f4599",
	} {
		if got := Commit(s, way); got != want {
			t.Errorf("commitment %s with way %d, not %s", got, way, want)
		}
	}
	key := s.Key("cube-3", "spring round", 1)
	if got, want := hex.EncodeToString(key[:]), "164621e78bd0db9f44ffa8d3a137179a7c285d4cc363ea747ba13d404a5e7788"; got != want {
		t.Errorf("key %s, not %s", got, want)
	}
}

func TestCommitment(t *testing.T) {
	s := NewSeed()
	c := Commit(s, Newest)
	for bit := range 8 * len(s) {
		other := s
		other[bit/8] ^= 1 << (bit % 8)
		if Commit(other, Newest) == c {
			t.Errorf("a seed with bit %d changed has the same commitment", bit)
		}
	}
	for _, way := range []int{Unnumbered, Newest + 1, -Newest} {
		if Commit(s, way) == c {
			t.Errorf("way %d has the same commitment", way)
		}
	}
}

func TestSeedText(t *testing.T) {
	s := NewSeed()
	if seedOf(t, " "+strings.ToUpper(s.String())+"\n") != s {
		t.Error("a seed is not read as it was written")
	}
	for text, want := range map[string]string{
		"":                                      "64 hexadecimal digits",
		testSeed[1:]:                            "not 63 characters",
		testSeed + "0":                          "not 65 characters",
		"g" + testSeed[1:]:                      "character 1 ",
		testSeed[:62] + "é":                     "character 63 ",
		testSeed[:31] + " 0f10" + testSeed[36:]: "character 32 ",
	} {
		if _, err := ParseSeed(text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v; want an error with %q", text, err, want)
		}
	}
}

// What goes into a key can't be cut up in another way to make the same one.
func TestKeysDiffer(t *testing.T) {
	s := seedOf(t, testSeed)
	seen := map[[32]byte]string{}
	for _, of := range []struct {
		puzzle, purpose string
		n               int
	}{{"cube-3", "a", 1}, {"cube-3", "a", 2}, {"cube-3", "b", 1}, {"cube-2", "a", 1}, {"cube-3", "1\na", 1}, {"cube-3", "", 1}, {"cube-3", "a\n", 1}} {
		k := s.Key(of.puzzle, of.purpose, of.n)
		if seen[k] != "" {
			t.Errorf("%v has the key of %s", of, seen[k])
		}
		seen[k] = of.puzzle + of.purpose
	}
}
