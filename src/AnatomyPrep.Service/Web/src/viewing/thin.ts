/**
 * A coarse stand-in for a surface, for drawing while it moves. Method: vertices of one cell of a grid become one (Rossignac and Borrel, 1993, from memory);
 * it is for the eye only and never measured. Cost: linear.
 */

import type { Surface } from "./glb";

/** @returns with the vertex of the whole surface that stands for each. */
export function thinned(surface: Surface, wantedTriangles: number): { readonly surface: Surface; readonly from: Uint32Array } {
  const { positions, indices, colours } = surface;
  const low = [Infinity, Infinity, Infinity];
  const high = [-Infinity, -Infinity, -Infinity];
  for (let n = 0; n < positions.length; n++) {
    low[n % 3] = Math.min(low[n % 3], positions[n]);
    high[n % 3] = Math.max(high[n % 3], positions[n]);
  }
  // Triangles go with the square of the cell: from the area, as of a surface that fills its box three times over.
  const area = 2 * ((high[0] - low[0]) * (high[1] - low[1]) + (high[1] - low[1]) * (high[2] - low[2]) + (high[0] - low[0]) * (high[2] - low[2])) * 3;
  const cell = Math.sqrt((2 * area) / wantedTriangles);
  const cells = [0, 1, 2].map((a) => Math.ceil((high[a] - low[a]) / cell) + 1);
  const numberOf = new Map<number, number>();
  const newOf = new Uint32Array(positions.length / 3);
  const places: number[] = [];
  const shades: number[] = [];
  const from: number[] = [];
  for (let v = 0; v < newOf.length; v++) {
    const x = Math.floor((positions[3 * v] - low[0]) / cell);
    const y = Math.floor((positions[3 * v + 1] - low[1]) / cell);
    const z = Math.floor((positions[3 * v + 2] - low[2]) / cell);
    const key = (z * cells[1] + y) * cells[0] + x;
    let number = numberOf.get(key);
    if (number === undefined) {
      number = places.length / 3;
      numberOf.set(key, number);
      from.push(v);
      places.push(positions[3 * v], positions[3 * v + 1], positions[3 * v + 2]);
      shades.push(colours[4 * v], colours[4 * v + 1], colours[4 * v + 2], colours[4 * v + 3]);
    }
    newOf[v] = number;
  }
  const corners: number[] = [];
  for (let t = 0; t < indices.length; t += 3) {
    const [a, b, c] = [newOf[indices[t]], newOf[indices[t + 1]], newOf[indices[t + 2]]];
    if (a !== b && b !== c && c !== a) corners.push(a, b, c);
  }
  return { surface: { name: surface.name, positions: Float32Array.from(places), colours: Uint16Array.from(shades), indices: Uint32Array.from(corners) }, from: Uint32Array.from(from) };
}
