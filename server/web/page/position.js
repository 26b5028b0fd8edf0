// Where every sticker is. This is all that the page knows of how puzzles turn, and it
// comes from the server's model: layers, and where a step of each carries what is in it.

export class Position {
  constructor(model) {
    this.model = model;
    this.at = Int32Array.from(model.stickers, (_, x) => x); // at[place] is the sticker that is there
  }

  // turn carries out a turn: {axis, fromLayer, toLayer, amount}.
  turn({ axis, fromLayer, toLayer, amount }) {
    const { steps, layers } = this.model.axes[axis];
    for (let n = ((amount % steps) + steps) % steps; n > 0; n--) {
      for (const layer of layers.slice(fromLayer - 1, toLayer)) {
        const carried = layer.stickers.map(place => this.at[place]);
        layer.to.forEach((place, i) => { this.at[place] = carried[i]; });
      }
    }
  }
}

export const inverse = turn => ({ ...turn, amount: -turn.amount });

// byHand is the turn that someone makes, written as the server writes it. Layer 0 is the
// whole puzzle.
export function byHand(model, axis, layer, amount) {
  const { steps, layers, whole } = model.axes[axis];
  const least = ((amount % steps) + steps) % steps;
  if (layer === 0) return { axis, fromLayer: 1, toLayer: layers.length, amount, text: whole[least - 1] };
  return { axis, fromLayer: layer, toLayer: layer, amount, text: layers[layer - 1].turns[least - 1] };
}
