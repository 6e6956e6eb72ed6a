using System.Runtime.InteropServices;
using System.Text.Json;

namespace AnatomyPrep.Tests.Phantoms;

/// <summary>A series as pydicom and twenty lines of numpy read it: nothing here is shared with the writer.</summary>
internal sealed record OutsideReader(int Columns, int Rows, double[][] Positions, double[] Orientation, double[] PixelSpacing, int[] InstanceNumbers, short[] Hu)
{
    private const string Script = """
        import glob, json, sys, numpy as np, pydicom
        for folder in sys.argv[1:]:
            ds = [pydicom.dcmread(f) for f in sorted(glob.glob(folder + '/*.dcm'))]
            o = [float(v) for v in ds[0].ImageOrientationPatient]
            n = np.cross(o[:3], o[3:])
            ds.sort(key=lambda d: float(np.dot(n, [float(v) for v in d.ImagePositionPatient])))
            slices = []
            for d in ds:
                assert d.BitsAllocated == 16 and d.SamplesPerPixel == 1 and d.HighBit == d.BitsStored - 1
                w = np.frombuffer(d.PixelData, '<u2').astype(np.int64) & ((1 << d.BitsStored) - 1)
                if d.PixelRepresentation == 1:
                    w = np.where(w >= 1 << (d.BitsStored - 1), w - (1 << d.BitsStored), w)
                hu = np.rint(w * float(d.RescaleSlope) + float(d.RescaleIntercept))
                slices.append(np.clip(hu, -32768, 32767).astype('<i2').reshape(d.Rows, d.Columns))
            np.stack(slices).tofile(folder + '/hu.raw')
            json.dump(dict(Columns=int(ds[0].Columns), Rows=int(ds[0].Rows),
                Positions=[[float(v) for v in d.ImagePositionPatient] for d in ds], Orientation=o,
                PixelSpacing=[float(v) for v in ds[0].PixelSpacing], InstanceNumbers=[int(d.InstanceNumber) for d in ds], Hu=[]),
                open(folder + '/facts.json', 'w'))
        """;

    internal static IReadOnlyList<OutsideReader> Read(IReadOnlyList<string> folders)
    {
        var (exit, _, errors) = Tool.Run("/usr/bin/python3", ["-c", Script, .. folders]);
        exit.Should().Be(0, "of {0}", errors);
        return [.. folders.Select(folder => JsonSerializer.Deserialize<OutsideReader>(File.ReadAllBytes(Path.Combine(folder, "facts.json")))! with
        {
            Hu = MemoryMarshal.Cast<byte, short>(File.ReadAllBytes(Path.Combine(folder, "hu.raw"))).ToArray(),
        })];
    }
}
