using System.Globalization;
using System.Text.Json;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Phantoms.Catalogue;
using AnatomyPrep.Phantoms.Series;

namespace AnatomyPrep.Tests.Phantoms.Series;

public sealed class SidecarTests
{
    [Fact]
    [Trait("Kind", "Truth")]
    public void Sidecar_states_the_truth_with_names_in_order()
    {
        using var json = JsonDocument.Parse(Sidecar.Of(PhantomCatalogue.Create("torus", new PhantomOptions { SpacingMm = new Vec3(4, 4, 4) }), RunContext.Default));
        InOrder(json.RootElement);
        // A torus of ring 30 and tube 10 mm at half maximum (handbook).
        var truth = json.RootElement.GetProperty("truth").EnumerateArray().Single(t => t.GetProperty("levelHu").GetDouble() == 500);
        truth.GetProperty("volumeMm3").GetDouble().Should().BeApproximately(59217.626407, 5e-7);
        truth.GetProperty("areaMm2").GetDouble().Should().BeApproximately(11843.525281, 5e-7);
        truth.GetProperty("euler").GetInt32().Should().Be(0);
        json.RootElement.GetProperty("geometry").GetProperty("columns").GetInt32().Should().BeGreaterThan(20);
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Sidecar_does_not_depend_on_the_culture()
    {
        var before = CultureInfo.CurrentCulture;
        try
        {
            var series = PhantomCatalogue.Create("plates");
            var plain = Sidecar.Of(series, RunContext.Default);
            var comma = (CultureInfo)CultureInfo.InvariantCulture.Clone();
            comma.NumberFormat.NumberDecimalSeparator = ",";
            CultureInfo.CurrentCulture = comma;
            Sidecar.Of(PhantomCatalogue.Create("plates"), RunContext.Default).Should().Be(plain);
            PhantomCatalogue.Create("plates").SeriesUid.Should().Be(series.SeriesUid);
        }
        finally
        {
            CultureInfo.CurrentCulture = before;
        }
    }

    private static void InOrder(JsonElement element)
    {
        if (element.ValueKind == JsonValueKind.Object)
        {
            element.EnumerateObject().Select(p => p.Name).Should().BeInAscendingOrder(StringComparer.Ordinal);
            foreach (var property in element.EnumerateObject())
                InOrder(property.Value);
        }
        else if (element.ValueKind == JsonValueKind.Array)
        {
            foreach (var item in element.EnumerateArray())
                InOrder(item);
        }
    }
}
