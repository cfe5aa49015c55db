#include "framing/stream.h"

#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>

namespace platter::framing {

Stream::Stream(const ByteSource& source) noexcept
    : source_(source), descriptor_(source.descriptor()) {
  if (descriptor_ >= 0) posix_fadvise(descriptor_, 0, 0, POSIX_FADV_SEQUENTIAL);
}

std::size_t Stream::read(std::uint64_t offset, std::span<std::byte> out) const {
  if (offset >= source_.size()) return 0;
  const auto wanted =
      static_cast<std::size_t>(std::min<std::uint64_t>(out.size(), source_.size() - offset));
  std::size_t done = 0;
  while (descriptor_ >= 0 && done < wanted) {
    const ssize_t got =
        pread(descriptor_, out.data() + done, wanted - done, static_cast<off_t>(offset + done));
    if (got > 0) {
      done += static_cast<std::size_t>(got);
    } else if (got == 0 || errno != EINTR) {
      break;  // the source knows what to say about it
    }
  }
  if (done < wanted) done += source_.read(offset + done, out.subspan(done, wanted - done));
  return done;
}

}  // namespace platter::framing
