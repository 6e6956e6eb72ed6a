using System.Runtime.CompilerServices;
using AnatomyPrep.Meshing.Combining;

namespace AnatomyPrep.Tests;

/// <summary>V8 takes flags only before its first start, and tests start engines of their own beside the product's.</summary>
internal static class EngineStart
{
    [ModuleInitializer]
    internal static void SetFlags() => EngineFlags.Set();
}
