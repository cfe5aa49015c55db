// Names below a directory of this machine, without ever following a symbolic link.
#pragma once

#include <fcntl.h>
#include <linux/openat2.h>
#include <sys/syscall.h>
#include <unistd.h>

#include <string>
#include <string_view>

#include "core/descriptor.h"

namespace platter {

/// Opens a directory name by name, so that no symbolic link is followed on the way and the path may
/// be longer than the system takes at once. \param host  below `root`, parts joined by '/', "" for
/// `root` itself
/// \returns a descriptor below 0 when a part is no directory; errno says why
inline Descriptor open_directory_below(int root, std::string_view host) {
  constexpr auto kFlags = O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC;
  // In one step where the system can (Linux 5.6, openat2(2)).
  if (!host.empty()) {
    const std::string path(host);
    open_how how{};
    how.flags = kFlags;
    how.resolve = RESOLVE_NO_SYMLINKS | RESOLVE_BENEATH;
    const long opened = syscall(SYS_openat2, root, path.c_str(), &how, sizeof how);
    if (opened >= 0) return Descriptor(static_cast<int>(opened));
  }
  Descriptor at(fcntl(root, F_DUPFD_CLOEXEC, 0));
  while (at.get() >= 0 && !host.empty()) {
    const std::string part(host.substr(0, host.find('/')));
    host.remove_prefix(host.size() > part.size() ? part.size() + 1 : part.size());
    at = Descriptor(openat(at.get(), part.c_str(), kFlags));
  }
  return at;
}

/// A name and the directory that it is in, opened as above.
struct PlaceBelow {
  PlaceBelow(int root, std::string_view host)
      : directory(open_directory_below(
            root, host.substr(0, host.rfind('/') == std::string_view::npos ? 0 : host.rfind('/')))),
        name(host.substr(host.rfind('/') + 1)) {}  // npos + 1 is 0

  Descriptor directory;
  std::string name;
};

}  // namespace platter
