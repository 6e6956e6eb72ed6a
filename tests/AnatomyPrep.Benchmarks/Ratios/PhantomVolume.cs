using System.Text.Json;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Benchmarks.Ratios;

/// <summary>The reference benchmark's phantom, from its raw file and sidecar.</summary>
internal sealed class PhantomVolume : IDisposable
{
    private Volume? _volume;

    public PhantomVolume(string sidecar)
    {
        using var document = JsonDocument.Parse(File.ReadAllBytes(sidecar));
        var root = document.RootElement;
        var folder = Path.GetDirectoryName(Path.GetFullPath(sidecar))!;
        Size = [.. root.GetProperty("dims").EnumerateArray().Select(d => d.GetInt32())];
        SpacingMm = [.. root.GetProperty("spacingMm").EnumerateArray().Select(d => d.GetDouble())];
        OriginMm = [.. root.GetProperty("originMm").EnumerateArray().Select(d => d.GetDouble())];
        RawPath = Path.Combine(folder, root.GetProperty("raw").GetString()!);
        DicomFolder = root.TryGetProperty("dicom", out var dicom) ? Path.Combine(folder, dicom.GetString()!) : null;
    }

    public int[] Size { get; }

    public double[] SpacingMm { get; }

    public double[] OriginMm { get; }

    public string RawPath { get; }

    public string? DicomFolder { get; }

    /// <summary>Where the reference benchmark keeps the mesh it simplified for its mesh stages.</summary>
    public string ReferenceMeshPath => ReferenceFile("mesh200k.stl");

    /// <summary>Where the reference benchmark writes the whole surface as STL.</summary>
    public string ReferenceSurfacePath => ReferenceFile("surface.stl");

    /// <summary>Read on first use.</summary>
    public Volume Volume => _volume ??= Read();

    public void Dispose() => _volume?.Dispose();

    private string ReferenceFile(string name) => Path.Combine(Path.GetDirectoryName(RawPath)!, $"bench_{string.Join('x', Size)}", name);

    private unsafe Volume Read()
    {
        var samples = new NativeBuffer<short>((long)Size[0] * Size[1] * Size[2]);
        using var file = File.OpenHandle(RawPath);
        for (long at = 0; at < samples.Bytes;)
        {
            var read = RandomAccess.Read(file, new Span<byte>((byte*)samples.Pointer + at, (int)Math.Min(1 << 26, samples.Bytes - at)), at);
            if (read == 0)
                throw new EndOfStreamException($"{Path.GetFileName(RawPath)} is shorter than its sidecar says.");
            at += read;
        }

        var origins = Enumerable.Range(0, Size[2]).Select(k => new Vec3(OriginMm[0], OriginMm[1], OriginMm[2] + (k * SpacingMm[2]))).ToArray();
        return new(Size[0], Size[1], samples, new IndexToPatient(new Vec3(SpacingMm[0], 0, 0), new Vec3(0, SpacingMm[1], 0), origins));
    }
}
