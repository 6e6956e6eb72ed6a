using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Phantoms.Catalogue;
using AnatomyPrep.Phantoms.Sampling;
using AnatomyPrep.Phantoms.Series;

namespace AnatomyPrep.Tests.Service;

/// <summary>Small series of invented persons, for sending and for jobs of a second or two.</summary>
internal static class Phantom
{
    /// <summary>A ball in water; as many slices as are wanted.</summary>
    public static PhantomSeries Ball(int slices = 12)
    {
        var series = PhantomCatalogue.Create("sphere-in-water", new PhantomOptions { SpacingMm = new Vec3(2, 2, 2) });
        return series with { Acquisition = series.Acquisition with { TablePositionsMm = Acquisition.EvenPositions(slices, 1) } };
    }

    /// <summary>Shells of bone density, of which the preset "bone" makes a model.</summary>
    public static PhantomSeries Bones(string patientId = "INVENTED-0001", ulong seed = 1)
    {
        var series = PhantomCatalogue.Create("shells", new PhantomOptions { SpacingMm = new Vec3(3, 3, 3), Seed = seed });
        return series with { Identity = series.Identity with { PatientId = patientId } };
    }

    public static List<string> Write(PhantomSeries phantom, string folder) => [.. phantom.Write(folder, RunContext.Default).Select(n => Path.Combine(folder, n))];
}
