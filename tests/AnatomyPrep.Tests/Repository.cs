namespace AnatomyPrep.Tests;

/// <summary>The checkout that the tests were built from.</summary>
internal static class Repository
{
    public static string Root { get; } = Find();

    private static string Find()
    {
        for (var at = new DirectoryInfo(AppContext.BaseDirectory); at is not null; at = at.Parent)
            if (File.Exists(Path.Combine(at.FullName, "AnatomyPrep.sln")))
                return at.FullName;
        throw new DirectoryNotFoundException("The tests run from inside a checkout of the project.");
    }
}
