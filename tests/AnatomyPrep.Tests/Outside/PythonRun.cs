using AnatomyPrep.Tests.Phantoms;

namespace AnatomyPrep.Tests.Outside;

/// <summary>A short program for Debian's Python, which has the reference libraries (numpy, scipy, VTK).</summary>
internal static class PythonRun
{
    internal static string Of(string program, params string[] arguments)
    {
        var (exit, output, errors) = Tool.Run("/usr/bin/python3", ["-c", program, .. arguments]);
        exit.Should().Be(0, "of {0}", errors);
        return output;
    }
}
