#include "standard_output.h"

#include <unistd.h>

#include <cerrno>
#include <cstddef>

namespace platter::tool {

StandardOutput::StandardOutput() {
  setp(buffer_.data(), buffer_.data() + buffer_.size());
}

StandardOutput::int_type StandardOutput::overflow(int_type character) {
  if (sync() != 0) return traits_type::eof();
  if (!traits_type::eq_int_type(character, traits_type::eof())) {
    *pptr() = traits_type::to_char_type(character);
    pbump(1);
  }
  return traits_type::not_eof(character);
}

int StandardOutput::sync() {
  const bool done = write_all(pbase(), static_cast<std::size_t>(pptr() - pbase()));
  setp(buffer_.data(), buffer_.data() + buffer_.size());
  return done ? 0 : -1;
}

// Much at once goes past the buffer.
std::streamsize StandardOutput::xsputn(const char* text, std::streamsize count) {
  const auto size = static_cast<std::size_t>(count);
  if (size < buffer_.size()) return std::streambuf::xsputn(text, count);
  return sync() == 0 && write_all(text, size) ? count : 0;
}

bool StandardOutput::write_all(const char* bytes, std::size_t count) {
  while (count != 0 && error_ == 0) {
    const ssize_t wrote = ::write(STDOUT_FILENO, bytes, count);
    if (wrote < 0) {
      if (errno != EINTR) error_ = errno;
      continue;
    }
    bytes += wrote;
    count -= static_cast<std::size_t>(wrote);
    written_ += static_cast<std::uint64_t>(wrote);
  }
  return error_ == 0;
}

}  // namespace platter::tool
