using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;

namespace AnatomyPrep.Meshing.Combining;

/// <summary>Sets what V8 must know before it starts.</summary>
/// <remarks>
/// V8 frees replaced WebAssembly code while it holds a lock, and asks its host to run the freeing as a task; ClearScript 7.5.1 runs
/// such a task at once, on the same thread, where it waits for that lock for ever (seen in one of some 150 engines). Without that
/// collection of code the lock is never taken. V8 reads flags only before its first start, and ClearScript has no call for this one.
/// </remarks>
internal static partial class EngineFlags
{
    private const string Library = "ClearScriptV8.linux-x64";

    /// <summary>Once per process, before the first engine.</summary>
    public static void Set() => RuntimeHelpers.RunClassConstructor(typeof(Once).TypeHandle);

    // v8::V8::SetFlagsFromString(char const*)
    [LibraryImport(Library, EntryPoint = "_ZN2v82V818SetFlagsFromStringEPKc", StringMarshalling = StringMarshalling.Utf8)]
    [DefaultDllImportSearchPaths(DllImportSearchPath.AssemblyDirectory)]
    private static partial void SetV8Flags(string flags);

    private static class Once
    {
        static Once() => SetV8Flags("--no-wasm-code-gc");
    }
}
