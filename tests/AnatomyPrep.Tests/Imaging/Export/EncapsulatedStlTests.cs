using System.Text.Json;
using AnatomyPrep.Core.Dicom;
using AnatomyPrep.Imaging.Export;
using AnatomyPrep.Tests.Phantoms;

namespace AnatomyPrep.Tests.Imaging.Export;

public sealed class EncapsulatedStlTests
{
    private static readonly EncapsulatedStlDescription s_description = new(new string('a', 64), new string('b', 64), DicomUid.From("a study"), DicomUid.From("a frame"), "skull (bone)", IsMirrored: false);

    /// <summary>dciodvfy (dicom3tools) checks the Encapsulated STL IOD, module by module; dcm2json (DCMTK) takes the document out.</summary>
    [Theory]
    [Trait("Kind", "Outside")]
    [InlineData(684)]
    [InlineData(70_001)]
    public void The_object_is_valid_and_gives_the_stl_back(int bytes)
    {
        using var folder = new TestFolder();
        var stl = new byte[bytes];
        new Random(1).NextBytes(stl);
        var file = folder["model.dcm"];
        File.WriteAllBytes(file, Encode(stl, s_description));

        var (_, output, errors) = Tool.Run("dciodvfy", file);
        (output + errors).Should().Contain("EncapsulatedSTL").And.NotContain("Error");

        var (exit, text, complaint) = Tool.Run("dcm2json", file);
        exit.Should().Be(0, "of {0}", complaint);
        using var json = JsonDocument.Parse(text);
        json.RootElement.GetProperty("00200052").GetProperty("Value")[0].GetString().Should().Be(s_description.FrameOfReferenceUid);
        // The value has an even length; EncapsulatedDocumentLength tells how much of it is the document.
        json.RootElement.GetProperty("00420015").GetProperty("Value")[0].GetInt32().Should().Be(bytes);
        var value = json.RootElement.GetProperty("00420011").GetProperty("InlineBinary").GetBytesFromBase64();
        value.Length.Should().Be(bytes + (bytes % 2));
        value.AsSpan(0, bytes).SequenceEqual(stl).Should().BeTrue();
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Same_source_and_plan_give_the_same_bytes_and_another_plan_another_object()
    {
        var stl = new byte[84];
        var first = Encode(stl, s_description);
        Encode(stl, s_description).Should().Equal(first);
        Encode(stl, s_description with { PlanSha256 = new string('c', 64) }).Should().NotEqual(first);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Nothing_to_encapsulate_or_no_frame_of_reference_is_refused()
    {
        FluentActions.Invoking(() => Encode([], s_description)).Should().Throw<ArgumentException>();
        FluentActions.Invoking(() => Encode([1], s_description with { FrameOfReferenceUid = "" })).Should().Throw<ArgumentException>();
    }

    private static byte[] Encode(byte[] stl, EncapsulatedStlDescription description)
    {
        using var file = new MemoryStream();
        EncapsulatedStl.Write(new MemoryStream(stl), description, file);
        return file.ToArray();
    }
}
