/** The HU of a source, slice by slice, as they are needed; what was seen last is kept. */

import { api } from "../api";
import { AxisName, Space, VolumeHeader } from "./space";

// Some 400 slices of 512 x 512.
const KEPT_BYTES = 210 << 20;
const ASK_AGAIN_MS = 300;

export class Volume {
  readonly space: Space;
  #kept = new Map<string, Int16Array>();
  #keptBytes = 0;
  #asked = new Map<string, Promise<Int16Array>>();

  private constructor(readonly sourceId: string, readonly header: VolumeHeader) {
    this.space = new Space(header);
  }

  /** Waits while the service unpacks the images. */
  static async open(sourceId: string, whileWaiting: () => void, signal: AbortSignal): Promise<Volume> {
    const answer = await api.waited(`sources/${sourceId}/volume`, ASK_AGAIN_MS, signal, whileWaiting);
    return new Volume(sourceId, (await answer.json()) as VolumeHeader);
  }

  count(axis: AxisName): number {
    return axis === "column" ? this.header.columns : axis === "row" ? this.header.rows : this.header.slices;
  }

  /** Width and height of the slices of an axis, in samples. */
  shape(axis: AxisName): readonly [number, number] {
    const { columns, rows, slices } = this.header;
    return axis === "slice" ? [columns, rows] : axis === "row" ? [columns, slices] : [rows, slices];
  }

  /** A slice that is here already. */
  here(axis: AxisName, index: number): Int16Array | undefined {
    const key = `${axis}/${index}`;
    const slice = this.#kept.get(key);
    if (slice) {
      // Last seen goes last.
      this.#kept.delete(key);
      this.#kept.set(key, slice);
    }
    return slice;
  }

  fetch(axis: AxisName, index: number): Promise<Int16Array> {
    const key = `${axis}/${index}`;
    const here = this.#kept.get(key);
    if (here) return Promise.resolve(here);
    let asked = this.#asked.get(key);
    if (!asked) {
      asked = api.bytes(`sources/${this.sourceId}/volume/${axis}/${index}`).then((bytes) => {
        const slice = new Int16Array(bytes);
        this.#keep(key, slice);
        return slice;
      }).finally(() => this.#asked.delete(key));
      this.#asked.set(key, asked);
    }
    return asked;
  }

  get isBusy(): boolean {
    return this.#asked.size > 4;
  }

  #keep(key: string, slice: Int16Array): void {
    this.#kept.set(key, slice);
    this.#keptBytes += slice.byteLength;
    for (const [old, samples] of this.#kept) {
      if (this.#keptBytes <= KEPT_BYTES) break;
      this.#kept.delete(old);
      this.#keptBytes -= samples.byteLength;
    }
  }
}
