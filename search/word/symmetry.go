package word

import (
	"fmt"
	"iter"

	"turnwright/search/puzzle"
)

// Image is what a symmetry of the puzzle does to letters: Letters[i] is the
// letter that does about the image of the line what letter i does about the line.
type Image struct {
	Symmetry int // index into Puzzle.Symmetries
	Letters  []int
}

// Images returns the images of the letters under those of the given symmetries
// that carry letters to letters: on puzzles cut through the centre, where the
// frame rests on one piece, only those that keep the frame.
func (a *Alphabet) Images(symmetries []int) []Image {
	var out []Image
next:
	for _, s := range symmetries {
		img := Image{Symmetry: s}
		for _, l := range a.Letters {
			to, ok := a.Puzzle.SyllableImage(s, l.Syllable)
			if !ok {
				continue next
			}
			i, ok := a.index[fmt.Sprint(to)]
			if !ok {
				continue next
			}
			img.Letters = append(img.Letters, i)
		}
		out = append(out, img)
	}
	return out
}

// Prefix is the beginning of canonical words.
type Prefix struct {
	Letters []int
	State   State
	Cost    int
}

// Prefixes gives, in order, the beginnings that have two letters or more and
// reached the cost with their last letter and not before, or are whole words of
// cost most; none costs more than that. There is one for each orbit under the images (which must be a group): the first letter is the least
// of its orbit, the second the least under the images that keep the first, ...
// Where allow is not nil, a beginning is only followed if allow says so of its
// letters and their cost. The letters of a prefix are written over by the next one.
func (a *Alphabet) Prefixes(images []Image, cost, most int, allow func(letters []int, cost int) bool) iter.Seq[Prefix] {
	return func(yield func(Prefix) bool) {
		var grow func(p Prefix, images []Image) bool
		grow = func(p Prefix, images []Image) bool {
			if p.Cost >= cost && len(p.Letters) > 1 || p.Cost == most {
				return yield(p)
			}
			for i, l := range a.Letters {
				to := a.next[p.State][l.Family]
				if to < 0 || p.Cost+l.Cost > most || !least(images, i) {
					continue
				}
				q := Prefix{append(p.Letters, i), to, p.Cost + l.Cost}
				if (allow == nil || allow(q.Letters, q.Cost)) && !grow(q, keeping(images, i)) {
					return false
				}
			}
			return true
		}
		grow(Prefix{Letters: make([]int, 0, most), State: a.Start()}, images)
	}
}

func least(images []Image, letter int) bool {
	for _, img := range images {
		if img.Letters[letter] < letter {
			return false
		}
	}
	return true
}

func keeping(images []Image, letter int) []Image {
	if len(images) == 1 { // the idle one
		return images
	}
	var out []Image
	for _, img := range images {
		if img.Letters[letter] == letter {
			out = append(out, img)
		}
	}
	return out
}

// Syllables translates letters.
func (a *Alphabet) Syllables(letters []int) []puzzle.Syllable {
	out := make([]puzzle.Syllable, len(letters))
	for i, l := range letters {
		out[i] = a.Letters[l].Syllable
	}
	return out
}
