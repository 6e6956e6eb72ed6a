using AnatomyPrep.Tests.Phantoms;

namespace AnatomyPrep.Tests;

/// <summary>An outside judge that comes as C++ source: compiled once a test run, when it is first asked.</summary>
/// <param name="name">Of its folder; each tool its own.</param>
/// <param name="source">The program's text.</param>
internal sealed class CompiledTool(string name, string source, params string[] libraries)
{
    private readonly Lazy<string> _program = new(() => Compile(name, source, libraries));

    /// <summary>What it prints; the test fails when it does not end well.</summary>
    public string Run(params string[] arguments) => MustRun(_program.Value, arguments);

    /// <summary>Runs any program that must end well, and gives what it prints.</summary>
    public static string MustRun(string program, params string[] arguments)
    {
        var (exit, output, errors) = Tool.Run(program, arguments);
        exit.Should().Be(0, "{0} said {1} {2}", program, output, errors);
        return output;
    }

    private static string Compile(string name, string source, string[] libraries)
    {
        var folder = Directory.CreateDirectory(Path.Combine(TestFolder.Base, name)).FullName;
        var (text, program) = (Path.Combine(folder, "source.cpp"), Path.Combine(folder, "program"));
        File.WriteAllText(text, source);
        MustRun("g++", ["-O1", "-std=c++17", "-o", program, text, .. libraries]);
        return program;
    }
}
