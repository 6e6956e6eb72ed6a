using System.Text;
using AnatomyPrep.App.Pipeline.Inspections;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Tests.App.Pipeline;

public sealed class CaliperReadingsTests
{
    private static readonly CaliperDistance[] s_distances =
        [new("X1", 0, Vec3.Zero, new(50, 0, 0), 50, 0, 40), new("Y1", 1, Vec3.Zero, new(0, 40, 0), 40, 0, 40), new("Z1", 2, Vec3.Zero, new(0, 0, 30), 30, 0, 40)];

    [Fact]
    public void An_empty_sheet_filled_in_comes_back()
    {
        var lines = CaliperReadings.Empty("3-abc", s_distances).TrimEnd().Split('\n');
        lines.Should().Equal(CaliperReadings.Header, "3-abc,X1,x,,,", "3-abc,Y1,y,,,", "3-abc,Z1,z,,,");
        var (sheet, readings) = Read($"{lines[0]}\n3-abc,X1,x,50.02,49.98,\n3-abc,Y1,y,40.1,,\"a, \"\"quoted\"\" word\"\n3-abc,Z1,z,,30,\n");
        sheet.Should().Be("3-abc");
        readings["X1"].Should().Equal(50.02, 49.98);
        readings["Y1"].Should().Equal(40.1);
        readings["Z1"].Should().Equal(30);
    }

    [Theory]
    [InlineData("\uFEFFsheet;distance;along;reading1Mm;reading2Mm;remark\r\ns;X1;x;50,02;49,98;\r\n;;;;;\r\n")]
    [InlineData("Remark,Reading2MM,reading1mm,DISTANCE,sheet\n,49.98,50.02,X1,s")]
    [InlineData("sheet,distance,reading1Mm,reading2Mm\n s , X1 , \" 50.02\" , 49.98\n\n\n")]
    public void Other_spreadsheets_ways_are_read(string csv) => Read(csv).Readings["X1"].Should().Equal(50.02, 49.98);

    [Theory]
    [InlineData("-50.1", "above 0")]
    [InlineData("0", "above 0")]
    [InlineData("50.1 mm", "the number alone")]
    [InlineData("5o.1", "the number alone")]
    [InlineData("NaN", "the number alone")]
    [InlineData("Infinity", "the number alone")]
    [InlineData("1e3", "the number alone")]
    [InlineData("\"50,1\"", "the number alone")]
    [InlineData("=1+1", "the number alone")]
    [Trait("Kind", "Hostile")]
    public void What_is_no_length_is_refused_by_name(string value, string remedy) =>
        Refused(() => Read($"{CaliperReadings.Header}\ns,X1,x,{value},,\n")).Should().Match<BadInputException>(e => e.Field == "reading1Mm of X1" && e.Remedy.Contains(remedy));

    [Theory]
    [InlineData(5.0, "centimetres")]
    [InlineData(1.97, "inches")]
    [InlineData(0.05, "metres")]
    [InlineData(500, "decimal point")]
    [InlineData(5010, "decimal point")]
    [InlineData(50100, "micrometres")]
    [Trait("Kind", "Hostile")]
    public void Another_unit_is_refused_by_name(double reading, string looks) =>
        Refused(() => CaliperReadings.RequirePlausible(With(("X1", [50, reading])), s_distances, "a.csv")).Should().Match<BadInputException>(e => e.Field == "reading of X1" && e.Value.Contains(looks));

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_missing_row_and_one_too_many_are_refused_by_name()
    {
        Refused(() => CaliperReadings.RequirePlausible(With(("Y1", [])), s_distances, "a.csv")).Field.Should().Be("reading of Y1");
        var without = With();
        without.Remove("Z1");
        Refused(() => CaliperReadings.RequirePlausible(without, s_distances, "a.csv")).Field.Should().Be("reading of Z1");
        Refused(() => CaliperReadings.RequirePlausible(With(("Q9", [10])), s_distances, "a.csv")).Value.Should().Be("Q9");
        // A part that is far off is no mistake of the hand: it is judged, not refused.
        CaliperReadings.RequirePlausible(With(("X1", [61])), s_distances, "a.csv");
    }

    [Theory]
    [InlineData("", "content")]
    [InlineData("sheet,distance\n", "columns")]
    [InlineData("sheet,distance,along,reading1Mm,reading2Mm,remark\n", "rows")]
    [InlineData("sheet,distance,along,reading1Mm,reading2Mm,remark\ns,X1,x,1,,\ns,X1,x,2,,\n", "distance")]
    [InlineData("sheet,distance,along,reading1Mm,reading2Mm,remark\ns,X1,x,1,,\nt,Y1,x,2,,\n", "sheet of row Y1")]
    [InlineData("sheet,distance,along,reading1Mm,reading2Mm,remark\ns,X1,x,1,,\"open", "quotes")]
    [Trait("Kind", "Hostile")]
    public void Files_that_are_no_sheet_are_refused(string csv, string field) => Refused(() => Read(csv)).Field.Should().Be(field);

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Bytes_that_are_no_text_and_files_that_are_too_large_are_refused()
    {
        Refused(() => CaliperReadings.Read([0xFF, 0xFE, 0x00], "a.csv")).Field.Should().Be("text");
        Refused(() => CaliperReadings.Read(new byte[1 << 20], "a.csv")).Field.Should().Be("size");
        var random = new Random(5);
        for (var i = 0; i < 300; i++)
        {
            var bytes = Encoding.UTF8.GetBytes($"{CaliperReadings.Header}\ns,X1,x,50.1,50.2,\ns,Y1,y,40,,\n");
            for (var n = 0; n < 3; n++)
                bytes[random.Next(bytes.Length)] = (byte)random.Next(256);
            try
            {
                CaliperReadings.Read(bytes, "a.csv").Readings.Values.Should().OnlyContain(r => r.All(mm => mm > 0 && double.IsFinite(mm)));
            }
            catch (BadInputException e)
            {
                e.Message.Should().NotContainAny("\0", "\u001b");
            }
        }
    }

    [Fact]
    public void Readings_of_the_command_line_are_read()
    {
        CaliperReadings.Read(["X1=50.1", "Y1=40.1,40.2"])["Y1"].Should().Equal(40.1, 40.2);
        foreach (var wrong in (string[])["X1", "=5", "X1=1,2,3", "X1=1=2"])
            FluentActions.Invoking(() => CaliperReadings.Read([wrong])).Should().Throw<PlanException>();
        FluentActions.Invoking(() => CaliperReadings.Read(["X1=1", "X1=2"])).Should().Throw<PlanException>();
        Refused(() => CaliperReadings.Read(["X1=-1"])).Field.Should().Be("reading of X1");
    }

    private static (string Sheet, IReadOnlyDictionary<string, IReadOnlyList<double>> Readings) Read(string csv) => CaliperReadings.Read(Encoding.UTF8.GetBytes(csv), "a.csv");

    private static Dictionary<string, IReadOnlyList<double>> With(params (string Name, double[] Readings)[] changed)
    {
        var all = s_distances.ToDictionary(d => d.Name, d => (IReadOnlyList<double>)[d.LengthMm]);
        foreach (var (name, readings) in changed)
            all[name] = readings;
        return all;
    }

    private static BadInputException Refused(Action act) => FluentActions.Invoking(act).Should().Throw<BadInputException>().Which;
}
