using System.Runtime.InteropServices;

namespace AnatomyPrep.Core.Running;

/// <summary>A block of unmanaged memory, aligned to 64 bytes or to a large page, with one owner; zeroed only when asked.</summary>
public sealed unsafe class NativeBuffer<T> : SafeHandle
    where T : unmanaged
{
    public NativeBuffer(long length, bool zeroed = false)
        : base(IntPtr.Zero, ownsHandle: true)
    {
        ArgumentOutOfRangeException.ThrowIfNegative(length);
        Length = length;
        var bytes = (nuint)Math.Max(64, checked(length * sizeof(T)));
        var memory = LargePages.Allocate(bytes);
        if (zeroed)
            NativeMemory.Clear(memory, bytes);
        SetHandle((IntPtr)memory);
        GC.AddMemoryPressure(checked((long)bytes));
    }

    /// <summary>Number of elements.</summary>
    public long Length { get; }

    public long Bytes => Length * sizeof(T);

    public override bool IsInvalid => handle == IntPtr.Zero;

    public T* Pointer => IsClosed ? throw new ObjectDisposedException(nameof(NativeBuffer<T>)) : (T*)handle;

    public ref T this[long index]
    {
        get
        {
            if ((ulong)index >= (ulong)Length)
                throw new ArgumentOutOfRangeException(nameof(index));
            return ref Pointer[index];
        }
    }

    /// <summary>Elements [start, start + count); count must fit an int.</summary>
    public Span<T> Span(long start, int count)
    {
        if (start < 0 || count < 0 || start + count > Length)
            throw new ArgumentOutOfRangeException(nameof(start));
        return new Span<T>(Pointer + start, count);
    }

    protected override bool ReleaseHandle()
    {
        NativeMemory.AlignedFree((void*)handle);
        GC.RemoveMemoryPressure(Math.Max(64, Bytes));
        return true;
    }
}
