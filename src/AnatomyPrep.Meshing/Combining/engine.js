// Runs inside V8 beside the WebAssembly module. Numbers, typed arrays and text are all that crosses.
import Module from "manifold.js";

let wasm;
let solids = [];

// A segment with a half circle at either end, counter-clockwise; a circle where both ends are one.
function stroke(a, b, radius, sides) {
    const along = Math.atan2(b[1] - a[1], b[0] - a[0]);
    const outline = [];
    for (let i = 0; i <= sides; i++)
        outline.push(around(b, along - Math.PI / 2 + Math.PI * i / sides, radius));
    for (let i = 0; i <= sides; i++)
        outline.push(around(a, along + Math.PI / 2 + Math.PI * i / sides, radius));
    return outline;
}

function around(center, angle, radius) {
    return [center[0] + radius * Math.cos(angle), center[1] + radius * Math.sin(angle)];
}

function keep(solid) {
    const status = solid.status();
    if (status !== "NoError")
        throw new Error(status);
    solids.push(solid);
    return solids.length - 1;
}

globalThis.engine = {
    bytes: count => new Uint8Array(count),
    floats: count => new Float32Array(count),
    words: count => new Uint32Array(count),
    doubles: count => new Float64Array(count),

    // Compiled and started without waiting: there is no event loop here that could wake us.
    start(wasmBinary) {
        Module({
            instantiateWasm(imports, done) {
                const module = new WebAssembly.Module(wasmBinary);
                done(new WebAssembly.Instance(module, imports), module);
            },
        }).then(m => {
            m.setup();
            wasm = m;
        });
    },

    started: () => wasm !== undefined,

    add(positions, triangles, faces) {
        return keep(new wasm.Manifold(new wasm.Mesh({
            numProp: 3,
            vertProperties: positions,
            triVerts: triangles,
            runIndex: Uint32Array.of(0, triangles.length),
            runOriginalID: Uint32Array.of(wasm.Manifold.reserveIDs(1)),
            faceID: faces,
        })));
    },

    // Polylines as strokes with round ends, united in the plane and raised from z = 0. Points x, y in turn; starts are indices of points.
    strokes(points, starts, radius, sides, height) {
        const outlines = [];
        for (let s = 0; s < starts.length; s++) {
            const end = s + 1 < starts.length ? starts[s + 1] : points.length / 2;
            for (let p = starts[s]; p < Math.max(starts[s] + 1, end - 1); p++) {
                const a = [points[2 * p], points[2 * p + 1]];
                const q = Math.min(p + 1, end - 1);
                outlines.push(stroke(a, [points[2 * q], points[2 * q + 1]], radius, sides));
            }
        }
        const flat = new wasm.CrossSection(outlines, "Positive");
        const solid = flat.extrude(height);
        const mesh = solid.getMesh();
        return { positions: mesh.vertProperties, triangles: mesh.triVerts, faces: mesh.faceID };
    },

    combine(operation, text) {
        return keep(wasm.Manifold[operation](text.split(" ").map(i => solids[i])));
    },

    read(i) {
        const mesh = solids[i].getMesh();
        return { positions: mesh.vertProperties, triangles: mesh.triVerts, faces: mesh.faceID };
    },
};
