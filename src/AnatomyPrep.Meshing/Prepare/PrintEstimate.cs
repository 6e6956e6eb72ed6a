using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Prepare;

/// <summary>What a job takes and costs.</summary>
/// <param name="ModelMm3">Volume that the surface encloses.</param>
/// <param name="MaterialMm3">Material in it, by skin and fill.</param>
/// <param name="SupportMm3">Material of the support, not the space it stands in.</param>
/// <param name="TimeLowMin">The time less the profile's uncertainty.</param>
public sealed record PrintEstimate(
    double ModelMm3, double MaterialMm3, double SupportMm3, double MassG, double SupportMassG, double HeightMm, int Layers, double TimeMin, double TimeLowMin, double TimeHighMin,
    double CostEur, double CostLowEur, double CostHighEur)
{
    /// <summary>Estimates from volume, area, support and height.</summary>
    /// <remarks>
    /// Material: with a fill below 1, a skin of the stated thickness (area × skin, never more than the volume; thin models are all skin) and the fill
    ///   behind it. Time: setup + layers × time of a layer + material × time of a cm³, for part and support; see <see cref="TimeModel"/>. Cost:
    ///   both materials by mass, and the machine's time. The band of time is the profile's; that of cost follows from it, material taken as sure.
    /// A plain model with rates that are the profile's: what a machine's own software says is better.
    /// </remarks>
    public static PrintEstimate Of(Mesh mesh, Orientation lies, PrintProfile profile, RunContext run)
    {
        var volume = Math.Abs(MeshMeasures.SignedVolumeMm3(mesh, run));
        var skin = profile.ModelFill < 1 ? Math.Min(volume, MeshMeasures.AreaMm2(mesh, run) * profile.SkinMm) : volume;
        var material = skin + ((volume - skin) * profile.ModelFill);
        var support = lies.SupportMm3 * profile.SupportFill;
        var layers = (int)Math.Ceiling((lies.HeightMm / profile.LayerHeightMm) - 1e-6);
        var t = profile.Time;
        var time = t.SetupMin + (layers * t.PerLayerS / 60) + (material / 1000 * t.PerModelCm3Min) + (support / 1000 * t.PerSupportCm3Min);
        var (low, high) = (time * Math.Max(0, 1 - (t.UncertaintyPercent / 100)), time * (1 + (t.UncertaintyPercent / 100)));
        var (mass, supportMass) = (material / 1000 * profile.DensityGPerCm3, support / 1000 * profile.SupportDensityGPerCm3);
        var materials = (mass * profile.PriceEurPerKg / 1000) + (supportMass * profile.SupportPriceEurPerKg / 1000);
        double Cost(double minutes) => materials + (minutes / 60 * profile.PriceEurPerHour);
        return new(volume, material, support, mass, supportMass, lies.HeightMm, layers, time, low, high, Cost(time), Cost(low), Cost(high));
    }

    /// <summary>By name, with units, for a record.</summary>
    public void AddTo(IDictionary<string, double> measures)
    {
        measures["modelVolumeMm3"] = ModelMm3;
        measures["materialMm3"] = MaterialMm3;
        measures["supportMaterialMm3"] = SupportMm3;
        measures["massG"] = MassG;
        measures["supportMassG"] = SupportMassG;
        measures["layers"] = Layers;
        measures["timeMin"] = TimeMin;
        measures["timeLowMin"] = TimeLowMin;
        measures["timeHighMin"] = TimeHighMin;
        measures["costEur"] = CostEur;
        measures["costLowEur"] = CostLowEur;
        measures["costHighEur"] = CostHighEur;
    }
}
