using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using Microsoft.ClearScript;
using Microsoft.ClearScript.JavaScript;
using Microsoft.ClearScript.V8;

namespace AnatomyPrep.Meshing.Combining;

internal enum BooleanOperation
{
    Union,

    /// <summary>The first without all others.</summary>
    Difference,

    Intersection,
}

/// <summary>The Boolean library Manifold (WebAssembly) inside V8, with the solids of one operation.</summary>
/// <remarks>
/// Why this library, and what it promises: docs/decisions/0004-boolean-engine.md. It keeps topology right whatever the rounding:
///   every result is a closed two-manifold. It does not promise that no two triangles cross within rounding; <see cref="CutSettling"/>
///   sees to that.
/// Every triangle carries a number through the operation (the library's face id), unique over all solids added, so that its
///   source is known afterwards. Triangles with different numbers are not merged, so what no cut touches comes back as it was.
/// One engine belongs to one operation: the module's memory never shrinks, and its counters start the same each time, so that
///   results are the same bytes on every run. Starting takes about 60 ms. Not thread-safe; the module itself runs on one thread.
/// Memory: about 1 KB a triangle of the inputs and results at the peak, outside the managed heap, and at most 4 GB.
/// </remarks>
internal sealed class SolidEngine : IDisposable
{
    private const long PeakBytesPerTriangle = 1024;

    private readonly RunContext _run;
    private readonly V8ScriptEngine _v8;
    private readonly dynamic _engine;
    private readonly List<Source> _sources = [];
    private readonly CancellationTokenRegistration _cancel;
    private int _triangles;
    private long _vertices;

    private SolidEngine(Vec3 originMm, RunContext run)
    {
        _run = run;
        OriginMm = originMm;
        EngineFlags.Set();
        _v8 = new V8ScriptEngine();
        _v8.DocumentSettings.AddSystemDocument("manifold.js", ModuleCategory.Standard, Text("manifold.js"));
        _v8.Execute(new DocumentInfo("engine.js") { Category = ModuleCategory.Standard }, Text("engine.js"));
        _engine = _v8.Script.engine;
        var binary = Bytes("manifold.wasm");
        var buffer = (ITypedArray<byte>)_engine.bytes(binary.Length);
        buffer.Write(binary, 0, (ulong)binary.Length, 0);
        _engine.start(buffer);
        if (!(bool)_engine.started())
            throw new InvalidOperationException("The Boolean engine did not start.");
        // An interrupted engine is not used again, so it does not matter where it stops.
        _cancel = run.Cancellation.Register(_v8.Interrupt);
    }

    /// <summary>All solids are expressed relative to this point.</summary>
    public Vec3 OriginMm { get; }

    /// <summary>What was added, in order.</summary>
    public IReadOnlyList<Source> Sources => _sources;

    public static SolidEngine Start(Vec3 originMm, RunContext run) => new(originMm, run);

    /// <summary>Adds a closed, consistently oriented mesh and returns its number.</summary>
    /// <exception cref="CheckFailedException">The mesh is not closed and consistently oriented.</exception>
    public int Add(Mesh mesh)
    {
        _run.Memory.Require("combine", PeakBytesPerTriangle * (_triangles + mesh.TriangleCount), "Simplify the mesh, or raise the memory limit.");
        var local = mesh.Rebased(OriginMm);
        var source = new Source(local, _triangles, _vertices);
        _triangles = checked(_triangles + mesh.TriangleCount);
        _vertices += mesh.VertexCount;
        _sources.Add(source);
        var faces = new uint[mesh.TriangleCount];
        for (var t = 0; t < faces.Length; t++)
            faces[t] = (uint)(source.FirstFace + t);
        return Call(() => (int)_engine.add(
            Buffer<float>("floats", local.Positions),
            Buffer<uint>("words", System.Runtime.InteropServices.MemoryMarshal.Cast<int, uint>(local.Triangles)),
            Buffer<uint>("words", faces)));
    }

    /// <summary>Adds meshes while, on another thread if there is one, they are checked; a failed check has the first word.</summary>
    public void AddWhileChecking(IReadOnlyList<Mesh> meshes, Action check)
    {
        CheckFailedException? refused = null;
        Partition.For(_run, 2, piece =>
        {
            if (piece == 1)
            {
                check();
                return;
            }

            try
            {
                foreach (var mesh in meshes)
                    Add(mesh);
            }
            catch (CheckFailedException e)
            {
                refused = e;
            }
        });
        if (refused is not null)
            throw refused;
    }

    /// <summary>Number of the source that a face number belongs to.</summary>
    public int SourceOfFace(int face)
    {
        var (low, high) = (0, _sources.Count - 1);
        while (low < high)
        {
            var middle = (low + high + 1) / 2;
            if (_sources[middle].FirstFace <= face)
                low = middle;
            else
                high = middle - 1;
        }

        return low;
    }

    /// <summary>Combines solids by number and returns the number of the result.</summary>
    public int Combine(BooleanOperation operation, params ReadOnlySpan<int> solids)
    {
        var name = operation switch
        {
            BooleanOperation.Union => "union",
            BooleanOperation.Difference => "difference",
            _ => "intersection",
        };
        var list = string.Join(' ', solids.ToArray());
        return Call(() => (int)_engine.combine(name, list));
    }

    public EngineResult Read(int solid) => Call(() => ToResult(_engine.read(solid)));

    /// <summary>Polylines drawn with a round pen and raised to a height: one solid that stands on z = 0, in the strokes' own coordinates.</summary>
    public Mesh Strokes(IReadOnlyList<(double X, double Y)[]> polylines, double penRadius, double height, int sidesPerEnd, Origin origin)
    {
        var starts = new uint[polylines.Count];
        var points = new List<double>();
        for (var i = 0; i < starts.Length; i++)
        {
            starts[i] = (uint)(points.Count / 2);
            foreach (var (x, y) in polylines[i])
                points.AddRange([x, y]);
        }

        var drawn = Call(() => (EngineResult)ToResult(_engine.strokes(
            Buffer<double>("doubles", points.ToArray()), Buffer<uint>("words", starts), penRadius, sidesPerEnd, height)));
        var origins = new Origin[drawn.Faces.Length];
        Array.Fill(origins, origin);
        return new(Vec3.Zero, drawn.Positions, drawn.Triangles, origins);
    }

    private static EngineResult ToResult(dynamic mesh) => new(
        ((ITypedArray<float>)mesh.positions).ToArray(),
        [.. ((ITypedArray<uint>)mesh.triangles).ToArray().Select(i => (int)i)],
        [.. ((ITypedArray<uint>)mesh.faces).ToArray().Select(i => (int)i)]);

    public void Dispose()
    {
        _cancel.Dispose();
        _v8.Dispose();
    }

    private T Call<T>(Func<T> call)
    {
        try
        {
            return call();
        }
        catch (ScriptInterruptedException)
        {
            throw new OperationCanceledException(_run.Cancellation);
        }
        catch (ScriptEngineException e)
        {
            throw new CheckFailedException("combine", "closed solids that the Boolean engine accepts", e.Message);
        }
    }

    private object Buffer<T>(string kind, ReadOnlySpan<T> data)
        where T : unmanaged
    {
        var array = (ITypedArray<T>)((ScriptObject)_engine).InvokeMethod(kind, data.Length);
        array.Write(data, 0, (ulong)data.Length, 0);
        return array;
    }

    private static string Text(string resource)
    {
        using var reader = new StreamReader(Open(resource));
        return reader.ReadToEnd();
    }

    private static byte[] Bytes(string resource)
    {
        using var stream = Open(resource);
        var bytes = new byte[stream.Length];
        stream.ReadExactly(bytes);
        return bytes;
    }

    private static Stream Open(string resource) =>
        typeof(SolidEngine).Assembly.GetManifestResourceStream(resource) ?? throw new InvalidOperationException($"The build lacks {resource}.");

    /// <param name="Mesh">Relative to the engine's origin.</param>
    /// <param name="FirstFace">Number of its first triangle over all sources.</param>
    /// <param name="FirstVertex">Number of its first vertex over all sources.</param>
    internal sealed record Source(Mesh Mesh, int FirstFace, long FirstVertex);
}

/// <param name="Faces">Per triangle, the number of the source triangle it lies in.</param>
internal sealed record EngineResult(float[] Positions, int[] Triangles, int[] Faces);
