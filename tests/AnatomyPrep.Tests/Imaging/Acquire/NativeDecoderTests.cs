namespace AnatomyPrep.Tests.Imaging.Acquire;

/// <summary>The native library, which may abort or hang, is reached from the reader child alone.</summary>
public sealed class NativeDecoderTests
{
    [Fact]
    [Trait("Kind", "Same")]
    public void One_file_calls_the_library_and_only_the_child_gets_there()
    {
        Users("using gdcm").Should().Equal("NativeDecoder.cs");
        Users("NativeDecoder.").Should().Equal("FrameDecoder.cs");
        Users("new FrameDecoder").Concat(Users("FrameDecoder Decoder")).Distinct().Should().Equal("ReaderChild.cs");
    }

    private static IEnumerable<string> Users(string text) => Directory
        .GetFiles(Path.Combine(Repository.Root, "src"), "*.cs", SearchOption.AllDirectories)
        .Where(f => !f.Contains("/obj/", StringComparison.Ordinal) && File.ReadAllText(f).Contains(text, StringComparison.Ordinal))
        .Select(f => Path.GetFileName(f)!);
}
