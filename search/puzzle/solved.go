package puzzle

// Solved tells whether a position looks solved, however the whole puzzle is held (WCA
// Regulation 10c): each place shows the colours that a rotation of the solved puzzle shows
// there. Pieces that look alike may have changed places.
func (p *Puzzle) Solved(position Perm) bool {
rotations:
	for _, rotation := range p.Symmetries[:p.Rotations] {
		for sticker, at := range position {
			if p.Stickers[at].Face != p.Stickers[rotation.Stickers[sticker]].Face {
				continue rotations
			}
		}
		return true
	}
	return false
}
