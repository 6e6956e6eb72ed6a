using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Acquire;
using AnatomyPrep.Imaging.Segment;
using AnatomyPrep.Meshing.Formats;
using AnatomyPrep.Meshing.Surface;

namespace AnatomyPrep.Benchmarks.Ratios;

/// <summary>One measured piece of work; what it needs is made before, in the constructor.</summary>
internal sealed class Stage(Action work, Action? cleanUp = null) : IDisposable
{
    public Action Work { get; } = work;

    public void Dispose() => cleanUp?.Invoke();
}

/// <summary>Our stages and the reference stages they are held against.</summary>
internal static class Stages
{
    private const short IsoHu = 300;

    // The program lies beside this one, copied by the build.
    private static readonly ReaderCommand s_reader = new("dotnet", [Path.Combine(AppContext.BaseDirectory, "AnatomyPrep.App.dll"), "reader-child"]);

    private static readonly HuWindow s_window = new(IsoHu, short.MaxValue);

    /// <summary>Our stage, the reference's, and the program that runs the reference ("vtk", "itk", "cgal").</summary>
    public static readonly (string Own, string Reference, string Program, string What)[] Pairs =
    [
        ("import", "dicom_gdcm", "vtk", "DICOM series to HU"),
        ("extraction", "flying_edges", "vtk", "threshold and surface"),
        ("components", "itk_connected_components_6", "itk", "3-D labelling, 6 neighbours"),
        ("closing", "closing_r2_scipy", "vtk", "closing, radius 2 samples"),
        ("growing", "itk_connected_components_6", "itk", "growing from a seed (reference: labelling)"),
        ("distance", "itk_signed_distance_maurer", "itk", "distance inside the region (reference: to both sides)"),
        ("largest", "largest_component", "vtk", "largest piece"),
        ("stl-write", "stl_write", "vtk", "binary STL"),
        ("stl-read", "stl_read", "vtk", "binary STL, equal corners joined"),
        ("smooth", "windowed_sinc_20", "vtk", "smoothing, 20 passes"),
        ("simplify", "quadric_decimation_90", "vtk", "simplification by 90 %"),
        ("simplify-200k", "cgal_edge_collapse_90", "cgal", "simplification by 90 %, 200,000 triangles"),
        ("crossings", "cgal_self_intersections_clean_parallel", "cgal", "self-intersections, none there"),
        ("crossings-folded", "cgal_self_intersections_dirty", "cgal", "self-intersections, 200 folds"),
        ("crossings-removal", "cgal_remove_self_intersections_dirty", "cgal", "removal of 200 folds"),
        ("union", "cgal_union_shifted_copy", "cgal", "union with a shifted copy"),
        ("fill-holes", "cgal_fill_holes_refine_fair", "cgal", "16 holes, continuing the curvature"),
        ("fill-holes-flat", "cgal_fill_holes_flat", "cgal", "16 holes, flat"),
    ];

    public static Stage Create(string name, PhantomVolume phantom)
    {
        var run = RunContext.Default;
        switch (name)
        {
            case "extraction":
                var volume = phantom.Volume;
                return new(() => Extract(volume, run));
            case "threshold":
                var all = phantom.Volume;
                return new(() => Threshold.Apply(all, s_window, run).Dispose());
            case "import":
                return new(() => new DicomSource(s_reader).Load(phantom.DicomFolder!, null, run).Dispose());
            case "stl-write":
                var mesh = Extract(phantom.Volume, run);
                var path = phantom.RawPath + ".stl";
                return new(() => StlFormat.Write(mesh, path, "benchmark", run), () => File.Delete(path));
            case "stl-read":
                return new(() => MeshFile.Read(phantom.ReferenceSurfacePath, new MeshReadOptions(LengthUnit.Millimetre), run));
            case "components":
                var region = Threshold.Apply(phantom.Volume, s_window, run);
                return new(() => Components.Find(region, phantom.Volume.Map, run).Dispose(), region.Dispose);
            case "closing":
                var open = Threshold.Apply(phantom.Volume, s_window, run);
                // The widest of the three spacings, so that our ball holds at least the reference's samples.
                var radiusMm = 2 * phantom.SpacingMm.Max();
                return new(() => Morphology.Close(open, phantom.Volume.Map, radiusMm, run).Dispose(), open.Dispose);
            case "growing":
                var seed = SeedOf(phantom.Volume, run);
                return new(() => Grow.Apply(phantom.Volume, new([seed], s_window), run).Region.Dispose());
            case "distance":
                var solid = Threshold.Apply(phantom.Volume, s_window, run);
                return new(() => DistanceMap.Inside(solid, phantom.Volume.Map, run).Dispose(), solid.Dispose);
            case "largest":
                var bone = Threshold.Apply(phantom.Volume, s_window, run);
                return new(() =>
                {
                    using var components = Components.Find(bone, phantom.Volume.Map, run);
                    components.Keep(1, run).Dispose();
                }, bone.Dispose);
            default:
                return MeshStages.Create(name, phantom, run);
        }
    }

    // The first sample of the largest piece.
    private static Vec3 SeedOf(Volume volume, RunContext run)
    {
        using var region = Threshold.Apply(volume, s_window, run);
        using var components = Components.Find(region, volume.Map, run);
        for (var k = 0; k < volume.Slices; k++)
            for (var j = 0; j < volume.Rows; j++)
                for (var i = 0; i < volume.Columns; i++)
                    if (components.PieceAt(i, j, k) == 0)
                        return volume.Map.Map(i, j, k);
        throw new InvalidOperationException("The volume holds nothing above the level.");
    }

    private static Mesh Extract(Volume volume, RunContext run)
    {
        using var region = Threshold.Apply(volume, s_window, run);
        return FlyingEdges.Extract(volume, region, run).Mesh;
    }
}
