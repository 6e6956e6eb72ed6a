using AnatomyPrep.Imaging.Acquire;

namespace AnatomyPrep.App;

internal static class Program
{
    private static int Main(string[] args)
    {
        // First, before anything else is loaded: the reader child should start in a few hundredths of a second.
        if (args is ["reader-child"])
            return ReaderChild.Run(Console.OpenStandardInput(), Console.OpenStandardOutput());
        return 0;
    }
}
