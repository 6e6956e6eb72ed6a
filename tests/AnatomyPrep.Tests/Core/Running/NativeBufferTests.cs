using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Tests.Core.Running;

public sealed unsafe class NativeBufferTests
{
    private const int LargePage = 2 << 20;

    /// <summary>Around the size from which memory is mapped by itself, and around whole pages.</summary>
    [Theory]
    [InlineData(0)]
    [InlineData(1)]
    [InlineData((2 * LargePage) - 1)]
    [InlineData(2 * LargePage)]
    [InlineData((2 * LargePage) + 1)]
    [InlineData((3 * LargePage) + 4096)]
    [InlineData(50_000_001)]
    public void Every_byte_is_its_own_and_zeroed_when_asked(int length)
    {
        for (var round = 0; round < 3; round++)
        {
            using var one = new NativeBuffer<byte>(length, zeroed: true);
            using var other = new NativeBuffer<byte>(length);
            ((nuint)one.Pointer % (length >= 2 * LargePage && OperatingSystem.IsLinux() ? LargePage : 64u)).Should().Be((nuint)0);
            one.Span(0, length).IndexOfAnyExcept((byte)0).Should().Be(-1);
            one.Span(0, length).Fill(1);
            other.Span(0, length).Fill(2);
            one.Span(0, length).IndexOfAnyExcept((byte)1).Should().Be(-1);
        }
    }

    [Fact]
    public void After_it_is_disposed_it_refuses()
    {
        var buffer = new NativeBuffer<int>(LargePage);
        buffer.Dispose();
        FluentActions.Invoking(() => buffer[0]).Should().Throw<ObjectDisposedException>();
        FluentActions.Invoking(() => new NativeBuffer<int>(-1)).Should().Throw<ArgumentOutOfRangeException>();
    }
}
