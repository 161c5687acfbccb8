#include "new_file.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <csignal>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <mutex>
#include <random>
#include <set>
#include <system_error>
#include <thread>

namespace trimwright {
namespace {

namespace fs = std::filesystem;

/// What has to be removed when the program is stopped.
struct PassingPaths {
  std::mutex lock;
  std::set<std::string> paths;
};

PassingPaths& all_passing() {
  static auto* all = new PassingPaths;  // never destroyed: the thread that waits for signals may outlive main
  return *all;
}

std::string folder_of(const std::string& path) {
  const std::string folder = fs::path(path).parent_path().string();
  return folder.empty() ? "." : folder;
}

/// Where `path` leads when it is a link, or a link to a link; the last one may lead to nothing yet.
std::string followed(std::string path) {
  std::error_code none;
  for (int links = 0; links < 40 && fs::is_symlink(path, none); ++links)
    path = (fs::path(path).parent_path() / fs::read_symlink(path, none)).string();
  return path;
}

/// Mode, owner and group of the file that will be replaced.
bool take_over(int descriptor, const struct stat& old) {
  if (::fchown(descriptor, old.st_uid, old.st_gid) != 0 && errno != EPERM) return false;
  return ::fchmod(descriptor, old.st_mode & 0777U) == 0;
}

int rename_to_free_name(const char* from, const char* to) {
#ifdef __EMSCRIPTEN__
  errno = EINVAL;  // it knows no such thing; its files are in memory, and nobody else's
#else
  if (::renameat2(AT_FDCWD, from, AT_FDCWD, to, RENAME_NOREPLACE) == 0) return 0;
#endif
  struct stat there {};
  if (errno != EINVAL || ::lstat(to, &there) == 0) return -1;
  return std::rename(from, to);  // a file system that cannot do it in one step
}

/// File systems that know no such thing as forcing a folder to the disk say so, and that is no fault.
bool force_folder(const std::string& folder) {
  const int descriptor = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (descriptor < 0) return errno == EACCES;
  const bool forced = ::fsync(descriptor) == 0 || errno == EINVAL || errno == ENOTSUP;
  const int why = errno;
  ::close(descriptor);
  errno = why;
  return forced;
}

}  // namespace

std::pair<Passing, int> Passing::file(const std::string& folder, unsigned mode) {
  PassingPaths& all = all_passing();
  std::random_device dice;
  for (int attempt = 0; attempt < 100; ++attempt) {
    const std::string path =
        (fs::path(folder) / fmt::format(".trimwright-{:08x}{:08x}", dice(), dice())).string();
    const std::lock_guard guard(all.lock);
    const int descriptor = ::open(path.c_str(), O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, mode);
    if (descriptor >= 0) {
      all.paths.insert(path);
      return {Passing(path), descriptor};
    }
    if (errno != EEXIST) break;
  }
  return {Passing(), -1};
}

Passing Passing::folder() {
  PassingPaths& all = all_passing();
  std::error_code none;
  std::string path = (fs::temp_directory_path(none) / "trimwright-XXXXXX").string();
  const std::lock_guard guard(all.lock);
  if (::mkdtemp(path.data()) == nullptr) return {};
  all.paths.insert(path);
  return Passing(path);
}

Passing::~Passing() {
  if (path_.empty()) return;
  PassingPaths& all = all_passing();
  const std::lock_guard guard(all.lock);
  all.paths.erase(path_);
  std::error_code none;
  fs::remove_all(path_, none);
}

Result<NewFile> NewFile::create(const std::string& given, Existing existing) {
  NewFile file(given, followed(given), existing);
  struct stat old {};
  const bool there = ::stat(file.path_.c_str(), &old) == 0;
  if (!there && errno != ENOENT) return file.failed_to("reach it");
  const auto refused = [&](const char* what, const char* expected) {
    return tl::unexpected(Error{what, expected, {given, unwritten, {}}});
  };
  if (there && !S_ISREG(old.st_mode))
    return refused("this is a folder, a pipe or a device", "a file, or a name that is free");
  if (there && existing == Existing::refused) return refused("this file is there already", "a new file");
  if (there && ::faccessat(AT_FDCWD, file.path_.c_str(), W_OK, AT_EACCESS) != 0)
    return file.failed_to("replace it");
  std::tie(file.part_, file.descriptor_) = Passing::file(folder_of(file.path_), there ? 0600 : 0666);
  if (file.descriptor_ < 0) return file.failed_to("create it");
  if (there && !take_over(file.descriptor_, old)) return file.failed_to("give it the mode of the old one");
  return file;
}

NewFile::NewFile(NewFile&& other) noexcept
    : given_(std::move(other.given_)),
      path_(std::move(other.path_)),
      existing_(other.existing_),
      part_(std::move(other.part_)),
      descriptor_(std::exchange(other.descriptor_, -1)) {}

NewFile::~NewFile() {
  if (descriptor_ >= 0) ::close(descriptor_);
}

tl::unexpected<Error> NewFile::failed_to(const std::string& what) const {
  return tl::unexpected(Error{"cannot " + what + " (" + std::strerror(errno) + ")",
                              "a folder this user may write to, with room",
                              {given_, unwritten, {}}});
}

Result<void> NewFile::finish() {
  if (::fsync(descriptor_) != 0 || ::close(std::exchange(descriptor_, -1)) != 0) return failed_to("write it");
  const char* from = part_.path().c_str();
  const bool named = existing_ == Existing::refused ? rename_to_free_name(from, path_.c_str()) == 0
                                                    : std::rename(from, path_.c_str()) == 0;
  if (!named) return failed_to("give it its name");
  if (!force_folder(folder_of(path_))) return failed_to("make sure of it");
  return {};
}

bool write_all(int descriptor, std::string_view bytes) {
  while (!bytes.empty()) {
    const auto written = ::write(descriptor, bytes.data(), bytes.size());
    if (written < 0 && errno != EINTR) return false;
    if (written > 0) bytes.remove_prefix(static_cast<std::size_t>(written));
  }
  return true;
}

Result<void> write_text_file(const std::string& path, std::string_view content, NewFile::Existing existing) {
  auto file = NewFile::create(path, existing);
  if (!file) return tl::unexpected(file.error());
  if (!write_all(file->descriptor(), content)) return file->failed_to("write it");
  return file->finish();
}

void remove_passing() {
  PassingPaths& all = all_passing();
  all.lock.lock();  // for good: nothing new may appear
  std::error_code none;
  for (const auto& path : all.paths) fs::remove_all(path, none);
}

void end_cleanly_on_signals(bool (*goes_on)(int signal)) {
  sigset_t awaited;
  sigemptyset(&awaited);
  for (const int signal : {SIGINT, SIGTERM, SIGHUP}) {
    struct sigaction now {};
    ::sigaction(signal, nullptr, &now);
    if (now.sa_handler != SIG_IGN) sigaddset(&awaited, signal);  // a shell's background job ignores them
  }
  ::pthread_sigmask(SIG_BLOCK, &awaited, nullptr);
  try {
    std::thread([awaited, goes_on] {
      int signal = 0;
      do sigwait(&awaited, &signal);
      while (goes_on(signal));
      remove_passing();
      std::signal(signal, SIG_DFL);
      ::pthread_sigmask(SIG_UNBLOCK, &awaited, nullptr);
      std::raise(signal);
    }).detach();
  } catch (const std::system_error&) {
    ::pthread_sigmask(SIG_UNBLOCK, &awaited, nullptr);  // no thread to be had: end as ever
  }
}

}  // namespace trimwright
