// A view as the part of an address after "#", which browsers send nowhere.

export function read(hash) {
  const said = new URLSearchParams(hash.replace(/^#/, ''));
  const number = name => (said.has(name) && Number.isFinite(Number(said.get(name))) ? Number(said.get(name)) : null);
  return {
    puzzle: said.get('puzzle') ?? '', sequence: said.get('sequence') ?? '',
    at: Math.max(0, Math.floor(number('after') ?? 0)), right: number('right'), up: number('up'), out: said.get('out') ?? '', search: said.get('search') ?? '',
    findings: said.get('findings') ?? '', covered: said.get('covered') ?? '', fit: said.get('fit') ?? '',
    near: number('near'), show: (said.get('show') ?? '').split(' ').filter(Boolean),
    round: said.get('round') ?? '', desk: said.get('desk') ?? '',
  };
}

export function write({ puzzle, sequence, at, right, up, out, near, show, search, findings, covered, fit, round, desk }) {
  const say = new URLSearchParams({ puzzle });
  if (sequence) say.set('sequence', sequence);
  if (at) say.set('after', at);
  if (right !== null) { say.set('right', Math.round(right)); say.set('up', Math.round(up)); }
  if (near) say.set('near', near.toFixed(2));
  if (out) say.set('out', out);
  if (show.length) say.set('show', show.join(' '));
  if (search) say.set('search', search);
  if (findings) say.set('findings', findings);
  if (covered) say.set('covered', covered);
  if (fit) say.set('fit', fit);
  if (round) say.set('round', round);
  if (desk) say.set('desk', desk);
  return `#${say}`;
}
