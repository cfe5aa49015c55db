#include "job/output_file.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstdio>
#include <system_error>

#include "core/descriptor.h"
#include "core/source.h"

namespace platter {

void write_whole_file(const std::string& path, std::string_view content) {
  std::string temporary = path + ".XXXXXX";
  const Descriptor file(mkostemp(temporary.data(), O_CLOEXEC));
  std::uint64_t done = 0;
  const auto fail = [&] {
    const std::string reason = std::generic_category().message(errno);
    if (file.get() >= 0) unlink(temporary.c_str());
    throw IoError(path, done, 0, reason);
  };
  if (file.get() < 0) fail();
  while (done < content.size()) {
    const ssize_t wrote = write(file.get(), content.data() + done, content.size() - done);
    if (wrote < 0 && errno != EINTR) fail();
    if (wrote > 0) done += static_cast<std::uint64_t>(wrote);
  }
  if (fchmod(file.get(), 0644) != 0 || std::rename(temporary.c_str(), path.c_str()) != 0) fail();
}

}  // namespace platter
