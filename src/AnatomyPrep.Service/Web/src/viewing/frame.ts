/** Where a model lies against the images it was made from: steps may have moved, turned, scaled or mirrored it. */

import { add, cross, dot, mul, sub, unit, V3 } from "./space";

/** An affine map by the images of the unit vectors and of the origin. */
type Columns = readonly [V3, V3, V3, V3];

export class Frame {
  readonly #inverse: readonly [V3, V3, V3];
  /** Model millimetres for one of the patient. */
  readonly scale: number;

  private constructor(readonly columns: Columns) {
    const [x, y, z] = columns;
    const volume = dot(x, cross(y, z));
    this.scale = Math.cbrt(Math.abs(volume));
    this.#inverse = [mul(cross(y, z), 1 / volume), mul(cross(z, x), 1 / volume), mul(cross(x, y), 1 / volume)];
  }

  static readonly inPlace = new Frame([[1, 0, 0], [0, 1, 0], [0, 0, 1], [0, 0, 0]]);

  /** @param columns of a run's facts; null where the model lies where the images are. */
  static of(columns: readonly V3[] | null | undefined): Frame {
    return columns && columns.length === 4 ? new Frame(columns as unknown as Columns) : Frame.inPlace;
  }

  /** Left has become right: it cannot be laid over the images again. */
  get mirrors(): boolean {
    const [x, y, z] = this.columns;
    return dot(x, cross(y, z)) < 0;
  }

  get moves(): boolean {
    return this !== Frame.inPlace;
  }

  toModel(p: V3): V3 {
    const [x, y, z, t] = this.columns;
    return add(add(add(mul(x, p[0]), mul(y, p[1])), mul(z, p[2])), t);
  }

  toPatient(p: V3): V3 {
    const q = sub(p, this.columns[3]);
    return [dot(this.#inverse[0], q), dot(this.#inverse[1], q), dot(this.#inverse[2], q)];
  }

  /** A direction of the model as one of the patient, one long. */
  directionToPatient(d: V3): V3 {
    return unit([dot(this.#inverse[0], d), dot(this.#inverse[1], d), dot(this.#inverse[2], d)]);
  }

  directionToModel(d: V3): V3 {
    const [x, y, z] = this.columns;
    return unit(add(add(mul(x, d[0]), mul(y, d[1])), mul(z, d[2])));
  }

  /** Vertices put back to where the images are. */
  backIntoPlace<T extends { readonly positions: Float32Array }>(surface: T): T {
    if (!this.moves) return surface;
    const positions = new Float32Array(surface.positions.length);
    for (let v = 0; v < positions.length; v += 3) positions.set(this.toPatient([surface.positions[v], surface.positions[v + 1], surface.positions[v + 2]]), v);
    return { ...surface, positions };
  }
}
